"use strict";
var gatesim = gatesim || {};
// Where the ends of the part are and how fast it goes, over time.
(function () {
  const { KEPT, LENGTH, MM, MS, lengthText, make, hatch, at, diagram, path, cursor, band } = gatesim;

  function drawPosition(element, data, width, updates) {
    const rig = data.rig;
    const x = { low: 0, high: MS * data.end, label: "time since release / ms" };
    const y = { low: -MM * rig.length, high: MM * rig.end, label: "position along the path / " + LENGTH };
    const d = diagram(element, width, Math.min(340, 190 + width / 6), x, y);
    band(d, data.area.enters, data.area.leaves, "var(--cold-wash)");
    band(d, data.area.enters, data.area.second, "var(--cold-deep)");
    data.gates.forEach((gate, k) => {
      const at = d.toY(MM * gate.position);
      make(d.svg, "line", { x1: d.box.left, x2: d.box.right, y1: at, y2: at, stroke: "var(--beam)" });
      const next = data.gates[k + 1];
      const crowded = next && at - d.toY(MM * next.position) < 18;
      make(d.svg, "text", { x: d.box.left + 6, y: crowded ? at + 14 : at - 4 }, "gate " + (k + 1));
    });
    const time = data.speed.time.map((t) => MS * t);
    path(d, time, data.speed.position.map((s) => MM * s), { stroke: "var(--ink)", "stroke-width": 2 });
    path(d, time, data.speed.position.map((s) => MM * (s - rig.length)), {
      stroke: "var(--ink)", "stroke-width": 2, "stroke-dasharray": "6 4",
    });
    cursor(d, updates);
  }

  // legend: where the areas are named, null if the formula makes none; before: another passage to compare with
  function drawSpeed(element, legend, data, width, updates, before) {
    const area = data.area;
    const whole = legend === null || area.leaves === null || area.second === null;
    const dwell = whole ? 0 : Math.max(area.leaves, area.second) - area.enters;
    const then = before && before.area.leaves !== null ? before.area : null;
    const from = whole ? 0 : Math.max(0, Math.min(area.enters, then ? then.enters : Infinity) - 0.25 * dwell);
    const to = whole ? data.end : Math.max(area.enters + 1.25 * dwell, then ? then.leaves + 0.1 * dwell : 0);
    const inside = data.speed.time.map((t, k) => [t, data.speed.speed[k]]).filter((p) => p[0] >= from && p[0] <= to);
    const past = before ? before.speed.time.map((t, k) => [t, before.speed.speed[k]]).filter((p) => p[0] >= from && p[0] <= to) : [];
    const top = 1.12 * Math.max(0.01, ...[...inside, ...past].map((p) => p[1]));
    const x = { low: MS * from, high: MS * to, label: "time since release / ms" };
    const d = diagram(element, width, Math.min(400, 230 + width / 6), x, { low: 0, high: top, label: "speed / (m/s)" });
    const speedAt = (t) => at(data.speed.time, data.speed.speed, t, 0);
    const stretch = (a, b) => [[a, speedAt(a)], ...inside.filter((p) => p[0] > a && p[0] < b), [b, speedAt(b)]];
    const fill = (points, attributes) =>
      make(d.svg, "polygon", Object.assign({
        points: points.map((p) => d.toX(MS * p[0]).toFixed(2) + "," + d.toY(p[1]).toFixed(2)).join(" "),
      }, attributes));
    if (area.leaves !== null) {
      const dwellArea = stretch(area.enters, area.leaves);
      fill([[area.enters, 0], ...dwellArea, [area.leaves, 0]], { fill: "var(--cold-wash)" });
      if (area.second !== null) {
        fill([[area.enters, 0], ...stretch(area.enters, area.second), [area.second, 0]], { fill: "var(--cold-deep)" });
        if (!whole) {
          hatch(d.svg, "left-over", "var(--warm-fill)");
          fill([[area.enters, area.early], ...dwellArea, [area.leaves, area.early]], { fill: "url(#left-over)" });
          const box = [[area.enters, 0], [area.enters, area.early], [area.leaves, area.early], [area.leaves, 0]];
          fill(box, { fill: "none", stroke: "var(--warm)", "stroke-width": 2, "stroke-dasharray": "7 4" });
        }
      }
    }
    const line = [[from, speedAt(from)], ...inside];
    path(d, line.map((p) => MS * p[0]), line.map((p) => p[1]), { stroke: "var(--ink)", "stroke-width": 2.5 });
    if (before) tellKept(d, past, then);
    cursor(d, updates);
    if (!whole) tellAreas(legend, data.area);
  }

  // the speed of a rig kept as A, dotted, and between which moments its gate 1 is dark
  function tellKept(d, past, area) {
    path(d, past.map((p) => MS * p[0]), past.map((p) => p[1]), KEPT);
    (area ? [[area.enters, "A enters"], [area.leaves, "A leaves"]] : []).forEach(([moment, words], k) => {
      const x = d.toX(MS * moment);
      const early = x - d.box.left < 60; // no room before the line
      make(d.svg, "line", { ...KEPT, x1: x, x2: x, y1: d.box.top, y2: d.box.bottom });
      make(d.svg, "text", { x: early ? x + 4 : x - 4, y: d.box.top + 10 + 14 * k, "text-anchor": early ? "start" : "end" }, words);
    });
  }

  function tellAreas(legend, area) {
    const left = area.length - area.rectangle;
    const items = [
      ["dwell", "Under the curve while gate 1 is dark: the true length, " + lengthText(area.length) + "."],
      ["spacing", "From gate 1 to gate 2: the spacing, " + lengthText(area.spacing) + ". The controller takes its speed from here: "
        + area.early.toFixed(3) + " m/s on average."],
      ["box", "What the controller reckons with: that speed all the time gate 1 is dark, " + lengthText(area.rectangle) + "."],
      ["left-over", (left > 0 ? "Missing in the reading" : "Too much in the reading") + " by the changing speed alone: " + lengthText(Math.abs(left)) + "."],
    ];
    legend.replaceChildren(...items.map(([kind, text]) => {
      const item = document.createElement("li");
      const swatch = document.createElement("span");
      swatch.className = "swatch " + kind;
      const words = document.createElement("span");
      words.textContent = text;
      item.append(swatch, words);
      return item;
    }));
  }

  Object.assign(gatesim, { drawPosition, drawSpeed });
})();
