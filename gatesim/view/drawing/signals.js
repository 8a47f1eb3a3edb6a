"use strict";
var gatesim = gatesim || {};
// What light gates and counter see, over time.
(function () {
  const { MS, make, diagram, cursor } = gatesim;

  function drawSignals(element, data, width, updates) {
    const row = 46;
    const height = 66 + data.gates.length * row + 90;
    const x = { low: 0, high: MS * data.end, label: "time since release / ms" };
    const d = diagram(element, width, height, x, { low: 0, high: 1, label: "", plain: true });
    data.gates.forEach((gate, k) => {
      const base = 18 + (k + 1) * row;
      make(d.svg, "text", { x: 4, y: base - 6 }, "gate " + (k + 1));
      const lift = (share) => base - 30 * share;
      if (gate.time.length) {
        const points = gate.time.map((t, i) => d.toX(MS * t).toFixed(2) + "," + lift(gate.blocked[i]).toFixed(2));
        points.unshift(d.toX(MS * gate.time[0]).toFixed(2) + "," + base);
        points.push(d.toX(MS * gate.time[gate.time.length - 1]).toFixed(2) + "," + base);
        make(d.svg, "polygon", { points: points.join(" "), fill: "var(--rule)" });
      }
      let level = base;
      let trail = "M" + d.box.left + " " + level;
      gate.filtered.forEach((edge, i) => {
        level = i % 2 === 0 ? base - 26 : base;
        trail += "H" + d.toX(MS * edge).toFixed(2) + "V" + level;
      });
      make(d.svg, "path", { d: trail + "H" + d.box.right, fill: "none", stroke: "var(--cold)", "stroke-width": 2 });
    });
    const latched = data.moments.map((moment) => moment.count ?? 0);
    const top = Math.max(1, ...data.count, ...latched);
    const base = d.box.bottom - 4;
    const lift = (count) => base - (62 * count) / top;
    make(d.svg, "text", { x: 4, y: base - 50 }, "count");
    make(d.svg, "text", { x: 4, y: base - 35, class: "soft" }, "to " + top);
    const points = data.time.map((t, k) => d.toX(MS * t).toFixed(2) + "," + lift(data.count[k]).toFixed(2));
    make(d.svg, "polyline", { points: points.join(" "), fill: "none", stroke: "var(--ink)", "stroke-width": 1.5 });
    for (const moment of data.moments) {
      if (moment.count === null) continue;
      make(d.svg, "circle", { cx: d.toX(MS * moment.time), cy: lift(moment.count), r: 3.5, fill: "var(--beam)" });
    }
    cursor(d, updates);
  }

  Object.assign(gatesim, { drawSignals });
})();
