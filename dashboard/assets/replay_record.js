// What the cursor of a replay reads: runs of words and curves, unpacked once, looked up by time.
window.bondtrailReplay = window.bondtrailReplay || {};

(function (replay) {
  "use strict";

  const KINDS = { u1: Uint8Array, u2: Uint16Array, u4: Uint32Array, f4: Float32Array };

  function unpacked(packed) {
    const text = atob(packed.b);
    const bytes = new Uint8Array(text.length);
    for (let k = 0; k < text.length; k++) bytes[k] = text.charCodeAt(k);
    return new KINDS[packed.t](bytes.buffer);
  }

  // Times come as steps: their sums are milliseconds since the base.
  function times(packed) {
    const steps = unpacked(packed);
    const sums = new Uint32Array(steps.length);
    let sum = 0;
    for (let k = 0; k < steps.length; k++) sums[k] = sum += steps[k];
    return sums;
  }

  // The last place at or before a moment, or -1.
  function placeOf(time, moment) {
    let low = 0;
    let high = time.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (time[middle] <= moment) low = middle + 1;
      else high = middle;
    }
    return low - 1;
  }

  function track(packed) {
    const time = times(packed.time);
    const code = unpacked(packed.code);
    const marks = packed.marks || [];
    return function (moment) {
      const place = placeOf(time, moment);
      if (place < 0) return { text: "unknown", mark: "unknown" };
      return { text: packed.texts[code[place]], mark: marks[code[place]] || "" };
    };
  }

  function curve(packed) {
    const time = times(packed.time);
    const value = unpacked(packed.value);
    return function (moment) {
      const place = placeOf(time, moment);
      if (place < 0) return { text: "unknown", mark: "unknown" };
      const found = between(time, value, place, moment, packed.power);
      const mark = packed.over && found >= packed.over ? "abnormal" : "";
      if (!packed.least || moment <= packed.least[0]) return { text: written(found, packed), mark };
      if (moment <= packed.least[1]) return { text: "not known", mark: "unknown" };
      return { text: "at least " + written(cut(found, packed.decimals), packed), mark: "" };
    };
  }

  function cut(value, decimals) {
    const scale = 10 ** decimals;
    return Math.floor(value * scale) / scale;
  }

  // Straight between two points; an energy goes with the square of what is straight.
  function between(time, value, place, moment, power) {
    if (place + 1 >= time.length) return value[place];
    const part = (moment - time[place]) / (time[place + 1] - time[place]);
    const [from, to] = [value[place] ** (1 / power), value[place + 1] ** (1 / power)];
    return (from + part * (to - from)) ** power;
  }

  function written(value, packed) {
    const unit = packed.unit ? " " + packed.unit : "";
    if (packed.floor && value <= packed.floor * 1.000001) return "below " + digits(packed.floor) + unit;
    if (packed.decimals === null) return digits(value) + unit;
    const fixed = packed.decimals;
    const options = { minimumFractionDigits: fixed, maximumFractionDigits: fixed };
    return value.toLocaleString("en", options) + unit;
  }

  const TWO_DIGITS = new Intl.NumberFormat("en", { maximumSignificantDigits: 2 });

  function digits(value) {
    return TWO_DIGITS.format(value);
  }

  function each(packed, reader) {
    return Object.fromEntries(Object.entries(packed).map(([name, one]) => [name, reader(one)]));
  }

  replay.placeOf = placeOf;
  replay.readers = function (record) {
    return { track: each(record.tracks, track), curve: each(record.curves, curve) };
  };
})(window.bondtrailReplay);
