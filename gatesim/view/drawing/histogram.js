"use strict";
var gatesim = gatesim || {};
// How the errors of many parts are distributed.
(function () {
  const { KEPT, LENGTH, make, diagram } = gatesim;

  // h: edges, density, mean, interval and limits in the unit of lengths; before: those of a rig to compare with, or null
  function drawHistogram(element, h, width, before) {
    const others = before ? [before] : [];
    const points = [h, ...others].flatMap((each) => [...each.edges, ...each.limits]).concat(0);
    const x = { low: Math.min(...points), high: Math.max(...points), label: "reading less true length / " + LENGTH };
    const y = { low: 0, high: 1.1 * Math.max(...[h, ...others].flatMap((each) => each.density)), label: "share of parts per " + LENGTH };
    const d = diagram(element, width, Math.min(320, 190 + width / 6), x, y);
    make(d.svg, "rect", {
      x: d.toX(h.low), width: d.toX(h.high) - d.toX(h.low), y: d.box.top, height: d.box.bottom - d.box.top,
      fill: "var(--cold-wash)",
    });
    const outline = (each) => "M" + d.toX(each.edges[0]) + " " + d.box.bottom + each.density.map((value, k) =>
      "V" + d.toY(value).toFixed(2) + "H" + d.toX(each.edges[k + 1]).toFixed(2)).join("") + "V" + d.box.bottom;
    make(d.svg, "path", { d: outline(h) + "Z", fill: "var(--cold)" });
    for (const each of others) {
      make(d.svg, "path", { d: outline(each), ...KEPT });
    }
    const upright = (value, attributes) =>
      make(d.svg, "line", Object.assign({
        x1: d.toX(value), x2: d.toX(value), y1: d.box.top, y2: d.box.bottom, stroke: "var(--ink)", "stroke-width": 2,
      }, attributes));
    upright(h.bias, {});
    for (const limit of h.limits) upright(limit, { "stroke-dasharray": "7 4" });
  }

  Object.assign(gatesim, { drawHistogram });
})();
