// The player of a replay: a clock that runs in the browser, and the keys and buttons that move it.
window.bondtrailReplay = window.bondtrailReplay || {};

(function (replay) {
  "use strict";

  const STILL_MS = 500; // between two steps, for those who ask for less motion
  const LONGEST_MS = 1000; // of a pause between two frames, such as of a hidden page
  const SPOKEN_MS = 2000; // between two readings for screen readers while playing
  const SETTLED_MS = 400; // after the last step the address follows

  const STEPS_MS = {
    ArrowLeft: -1000, ArrowDown: -1000, ArrowRight: 1000, ArrowUp: 1000,
    PageDown: -60000, PageUp: 60000,
  };

  function clockText(moment) {
    return new Date(moment).toISOString().slice(11, 23);
  }

  function part(name) {
    return document.getElementById("transfer-" + name);
  }

  function begin(record) {
    if (replay.stop) replay.stop();
    const leave = new AbortController();
    const root = part("player");
    const scrub = part("scrub");
    const calm = window.matchMedia("(prefers-reduced-motion: reduce)");
    const line = replay.lineOver(part("plot"), part("cursor"), record, leave.signal);
    const readout = replay.readout(root, record);
    const events = replay.eventList(part("event-list"), record);
    const time = part("time");
    let moment = record.at; // in ms since the base; whole wherever it rests
    let playing = false;
    let before = 0;
    let spoken = 0;
    let settling = 0;
    let settled = record.at;
    let address = here();

    // Nothing of a page that was left stays: neither what listens, nor the record, nor a timer.
    function stop() {
      leave.abort();
      clearTimeout(settling);
      if (replay.stop === stop) replay.stop = null;
    }

    // A page that is taken away, or put in place of another, has no size any more.
    function watch() {
      const seen = new ResizeObserver(() => root.isConnected || stop());
      seen.observe(root);
      leave.signal.addEventListener("abort", () => seen.disconnect());
    }

    function speed() {
      return Number(part("speed").value);
    }

    function show() {
      const shown = Math.floor(moment);
      scrub.style.setProperty("--at", moment / Math.max(record.length, 1));
      line.place(moment);
      time.textContent = clockText(record.base + record.offset + shown);
      readout.show(shown);
      events.show(shown);
    }

    function speak() {
      const shown = Math.floor(moment);
      const said = clockText(record.base + record.offset + shown) + ", " + readout.inWords(shown);
      scrub.setAttribute("aria-valuenow", (shown / 1000).toFixed(3));
      scrub.setAttribute("aria-valuetext", said);
    }

    // Whenever the cursor rests: the words for screen readers, and the link to the moment.
    function rest() {
      moment = Math.floor(moment);
      speak();
      const stamp = new Date(record.base + moment).toISOString();
      part("link").setAttribute("href", record.link + "&at=" + stamp);
      clearTimeout(settling);
      settling = setTimeout(settle, SETTLED_MS);
    }

    // The address follows, unless the reader is on another page by now.
    function settle() {
      if (!root.isConnected) return stop();
      if (here() !== address || moment === settled) return;
      window.history.replaceState(window.history.state, "", part("link").getAttribute("href"));
      address = here();
      settled = moment;
    }

    function here() {
      return window.location.pathname + window.location.search;
    }

    function seek(to) {
      moment = Math.min(Math.max(Math.round(to), 0), record.length);
      show();
      line.follow(moment);
      if (!playing) rest();
      else speak();
    }

    function frame(now) {
      if (!playing || leave.signal.aborted) return;
      if (!root.isConnected) return stop();
      const gone = Math.max(now - before, 0); // a frame may have begun before the press
      if (!calm.matches || gone >= STILL_MS) {
        before = now;
        moment = Math.min(moment + Math.min(gone, LONGEST_MS) * speed(), record.length);
        show();
        line.follow(moment);
        if (now - spoken > SPOKEN_MS) {
          spoken = now;
          speak();
        }
        if (moment >= record.length) return pause();
      }
      requestAnimationFrame(frame);
    }

    function play() {
      if (moment >= record.length) seek(0);
      playing = true;
      part("play").textContent = "Pause";
      part("said").textContent = "Playing.";
      before = spoken = performance.now();
      requestAnimationFrame(frame);
    }

    function pause() {
      playing = false;
      part("play").textContent = "Play";
      show();
      rest();
      part("said").textContent = "Paused at " + time.textContent + ".";
    }

    function toEvent(which) {
      const to = events[which](Math.floor(moment));
      if (to === undefined) {
        part("said").textContent = "There is no " + which + " event.";
        return;
      }
      seek(to);
      part("said").textContent = time.textContent + ": " + events.inWords();
    }

    function onKey(event) {
      if (event.ctrlKey || event.altKey || event.metaKey) return;
      if (event.target.closest("select, .scrolls")) return;
      const step = STEPS_MS[event.key];
      if (event.key === " " && event.target.closest("button, a")) return;
      if (event.key === " ") playing ? pause() : play();
      else if (event.key === "Home") seek(0);
      else if (event.key === "End") seek(record.length);
      else if (step) seek(Math.floor(moment) + (event.shiftKey ? step / 10 : step));
      else if (event.key.toLowerCase() === "n") toEvent("next");
      else if (event.key.toLowerCase() === "p") toEvent("previous");
      else return;
      event.preventDefault();
    }

    function onListKey(event) {
      const which = { ArrowDown: "next", ArrowUp: "previous" }[event.key];
      if (!which || event.ctrlKey || event.altKey || event.metaKey) return;
      toEvent(which);
      event.preventDefault();
    }

    function scrubTo(event) {
      const box = scrub.querySelector(".player-rail").getBoundingClientRect();
      seek(((event.clientX - box.left) / box.width) * record.length);
    }

    function onScrub(event) {
      scrub.setPointerCapture(event.pointerId);
      scrubTo(event);
    }

    // A drag looks closer, as elsewhere; a press without one moves the cursor.
    function onPlot() {
      let down = null;
      on(part("plot"), "pointerdown", (event) => (down = [event.clientX, event.clientY]), true);
      on(document, "pointerup", (event) => {
        const still =
          down && Math.hypot(event.clientX - down[0], event.clientY - down[1]) < 4;
        down = null;
        const at = still ? line.momentAt(event) : null;
        if (at !== null && !event.target.closest(".legend")) seek(at);
      }, true);
    }

    function copy() {
      const address = part("link").href;
      const said = (text) => (part("said").textContent = text);
      const byHand = () => said("Copy it from here: " + address);
      if (!navigator.clipboard) return byHand();
      navigator.clipboard.writeText(address).then(() => said("The link is copied."), byHand);
    }

    function compare() {
      const button = part("compare");
      const asked = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(asked));
      line.compare(asked);
    }

    function on(target, kind, act, capture) {
      if (target) target.addEventListener(kind, act, { signal: leave.signal, capture });
    }

    replay.stop = stop;
    watch();
    part("speed").value = part("speed").dataset.first;
    on(part("play"), "click", () => (playing ? pause() : play()));
    on(part("next"), "click", () => toEvent("next"));
    on(part("previous"), "click", () => toEvent("previous"));
    on(part("copy"), "click", copy);
    on(part("compare"), "click", compare);
    on(root, "keydown", onKey);
    on(part("event-list"), "keydown", onListKey);
    on(part("event-list"), "click", (event) => {
      const item = event.target.closest("li");
      if (item) seek(events.at(item));
    });
    on(scrub, "pointerdown", onScrub);
    on(scrub, "pointermove", (event) => scrub.hasPointerCapture(event.pointerId) && scrubTo(event));
    onPlot();
    show();
    rest();
    root.dataset.ready = "true";
  }

  window.dash_clientside = Object.assign({}, window.dash_clientside, {
    bondtrail_replay: {
      begin: (record) => {
        if (record && part("player")) begin(record);
        return window.dash_clientside.no_update;
      },
    },
  });
})(window.bondtrailReplay);
