// What follows the cursor of a replay: the line over the figure, the readings, the list of events.
window.bondtrailReplay = window.bondtrailReplay || {};

(function (replay) {
  "use strict";

  const TURN_MS = 300; // between two turns of the figure's view

  // The line stands over the figure, so that no trace is drawn again when it moves.
  replay.lineOver = function (plot, line, record, signal) {
    let figure = null;
    let axis = null;
    let shown = 0;
    let turned = 0;

    function find() {
      if (signal.aborted || !plot.isConnected) return;
      figure = plot.querySelector(".js-plotly-plot");
      if (!figure || !figure._fullLayout || !figure.on) return void setTimeout(find, 50);
      figure.on("plotly_afterplot", measure);
      figure.on("plotly_relayout", measure);
      const watch = new ResizeObserver(measure);
      watch.observe(plot);
      signal.addEventListener("abort", () => watch.disconnect());
      measure();
    }

    function measure() {
      const layout = figure._fullLayout;
      if (!layout || !layout.xaxis || !layout._size) return;
      axis = layout.xaxis;
      line.style.top = layout._size.t + "px";
      line.style.height = layout._size.h + "px";
      const player = plot.closest(".sheet");
      player.style.setProperty("--plot-left", layout._size.l + "px");
      player.style.setProperty("--plot-right", layout._size.r + "px");
      place(shown);
    }

    function onAxis(moment) {
      return record.base + record.offset + moment;
    }

    function place(moment) {
      shown = moment;
      if (!axis) return;
      const at = axis.l2p(onAxis(moment));
      const inside = at >= -0.5 && at <= axis._length + 0.5;
      line.style.visibility = inside ? "visible" : "hidden";
      if (inside) line.style.transform = "translateX(" + (axis._offset + at) + "px)";
    }

    // A closer look turns the page when the cursor leaves it: one drawing for a whole page.
    function follow(moment) {
      const now = performance.now();
      if (!axis || now - turned < TURN_MS) return;
      const [low, high] = axis.range.map((end) => axis.r2l(end));
      const at = onAxis(moment);
      if (at >= low - 1 && at <= high + 1) return; // the ends are cut to milliseconds
      turned = now;
      const begin = at - (high - low) * (at > high ? 0.1 : 0.9);
      window.Plotly.relayout(figure, { "xaxis.range": [begin, begin + high - low] });
    }

    // Where a click on the figure is, or null outside the panels.
    function momentAt(event) {
      if (!axis) return null;
      const box = figure.getBoundingClientRect();
      const x = event.clientX - box.left - axis._offset;
      const y = event.clientY - box.top - figure._fullLayout._size.t;
      if (x < 0 || x > axis._length || y < 0 || y > figure._fullLayout._size.h) return null;
      return axis.p2l(x) - record.base - record.offset;
    }

    // The typical transfer lies hidden in the figure until it is asked for.
    function compare(on) {
      const places = figure.data.flatMap((one, k) => (one.meta === "typical" ? [k] : []));
      if (places.length) window.Plotly.restyle(figure, { visible: on }, places);
    }

    find();
    return { place, follow, momentAt, compare };
  };

  replay.readout = function (root, record) {
    const readers = replay.readers(record);
    const parts = [];
    for (const kind of ["track", "curve"]) {
      for (const place of root.querySelectorAll("[data-" + kind + "]")) {
        const read = readers[kind][place.dataset[kind]];
        if (read) parts.push({ place, read, text: null });
      }
    }
    const told = readers.track;
    return {
      show(moment) {
        for (const part of parts) {
          const now = part.read(moment);
          if (now.text === part.text) continue;
          part.text = part.place.textContent = now.text;
          part.place.className = now.mark ? "is-" + now.mark : "";
        }
      },
      inWords: (moment) =>
        "bond " + told.bond(moment).text + ", flow " + told.flow(moment).text,
    };
  };

  replay.eventList = function (list, record) {
    const items = Array.from(list.children);
    const times = record.events;
    let current = [];

    function groupOf(moment) {
      const last = replay.placeOf(times, moment);
      let first = last;
      while (first > 0 && times[first - 1] === times[last]) first--;
      return last < 0 ? [] : items.slice(first, last + 1);
    }

    function words(item) {
      const said = Array.from(item.lastElementChild.childNodes, (node) => node.textContent.trim());
      return said.filter(Boolean).join(" ");
    }

    // Only the list is scrolled: the page stays where the reader has it.
    function reveal(from, to) {
      const top = from.offsetTop;
      const bottom = to.offsetTop + to.offsetHeight;
      if (top < list.scrollTop) list.scrollTop = top;
      else if (bottom > list.scrollTop + list.clientHeight) {
        list.scrollTop = Math.min(top, bottom - list.clientHeight);
      }
    }

    return {
      show(moment) {
        const group = groupOf(moment);
        if (group[0] === current[0] && group.length === current.length) return;
        current.forEach((item) => item.removeAttribute("aria-current"));
        group.forEach((item) => item.setAttribute("aria-current", "time"));
        current = group;
        if (group.length) reveal(group[0], group[group.length - 1]);
      },
      next: (moment) => times.find((time) => time > moment),
      previous: (moment) => times[replay.placeOf(times, moment - 1)],
      at: (item) => times[items.indexOf(item)],
      inWords: () => current.map(words).join("; "),
    };
  };
})(window.bondtrailReplay);
