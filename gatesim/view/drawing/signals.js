"use strict";
var gatesim = gatesim || {};
// What light gates and counter see, over time.
(function () {
  const { MS, KEPT, make, diagram, cursor } = gatesim;

  const LINE = 46; // px of a gate

  // a signal that is up while dark, from left to right
  function trail(d, edges, base) {
    let drawn = "M" + d.box.left + " " + base;
    edges.forEach((edge, i) => {
      drawn += "H" + d.toX(MS * edge).toFixed(2) + "V" + (i % 2 === 0 ? base - 26 : base);
    });
    return drawn + "H" + d.box.right;
  }

  // kept: another passage to compare with, whose lines are dotted under those of this one; or nothing
  function drawSignals(element, data, width, updates, kept) {
    const row = kept ? 2 * LINE - 12 : LINE;
    const height = 66 + data.gates.length * row + 90;
    const x = { low: 0, high: MS * Math.max(data.end, kept ? kept.end : 0), label: "time since release / ms" };
    const d = diagram(element, width, height, x, { low: 0, high: 1, label: "", plain: true });
    data.gates.forEach((gate, k) => {
      const base = 18 + k * row + LINE;
      make(d.svg, "text", { x: 4, y: base - 6 }, "gate " + (k + 1));
      const lift = (share) => base - 30 * share;
      if (gate.time.length) {
        const points = gate.time.map((t, i) => d.toX(MS * t).toFixed(2) + "," + lift(gate.blocked[i]).toFixed(2));
        points.unshift(d.toX(MS * gate.time[0]).toFixed(2) + "," + base);
        points.push(d.toX(MS * gate.time[gate.time.length - 1]).toFixed(2) + "," + base);
        make(d.svg, "polygon", { points: points.join(" "), fill: "var(--rule)" });
      }
      make(d.svg, "path", { d: trail(d, gate.filtered, base), fill: "none", stroke: "var(--cold)", "stroke-width": 2 });
      if (!kept || !kept.gates[k]) return;
      const under = base + LINE - 12;
      make(d.svg, "text", { x: 4, y: under - 6 }, "A: gate " + (k + 1));
      make(d.svg, "path", { d: trail(d, kept.gates[k].filtered, under), ...KEPT, "data-kept-signal": k + 1 });
    });
    const latched = data.moments.map((moment) => moment.count ?? 0);
    const top = Math.max(1, ...data.count, ...latched, ...(kept ? kept.count : []));
    const base = d.box.bottom - 4;
    const lift = (count) => base - (62 * count) / top;
    make(d.svg, "text", { x: 4, y: base - 50 }, "count");
    make(d.svg, "text", { x: 4, y: base - 35, class: "soft" }, "to " + top);
    const line = (each) => each.time.map((t, k) => d.toX(MS * t).toFixed(2) + "," + lift(each.count[k]).toFixed(2)).join(" ");
    make(d.svg, "polyline", { points: line(data), fill: "none", stroke: "var(--cold)", "stroke-width": 2 });
    if (kept) {
      make(d.svg, "polyline", { points: line(kept), ...KEPT });
      make(d.svg, "text", { x: 4, y: base - 20 }, "A dotted");
    }
    for (const moment of data.moments) {
      if (moment.count === null) continue;
      make(d.svg, "circle", { cx: d.toX(MS * moment.time), cy: lift(moment.count), r: 3.5, fill: "var(--beam)" });
    }
    cursor(d, updates);
  }

  Object.assign(gatesim, { drawSignals });
})();
