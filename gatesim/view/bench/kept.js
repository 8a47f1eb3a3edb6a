"use strict";
var gatesim = gatesim || {};
// A rig kept to compare with, dotted and lettered in the drawing of the present one.
(function () {
  const { KEPT, make, at } = gatesim;

  const LETTER = 17; // px that a letter keeps from grips and numbers

  // stage: what drawStage gave; kept: passage data of the rig, with its rig as it was drawn; updates as its own,
  // to be done after those of the grips. Returns where the gates' letters are, px.
  function drawKept(stage, kept, updates) {
    const { svg, scale, long } = stage;
    const rig = kept.rig;
    const place = stage.along(rig.slope);
    const half = rig.height / 2;
    const below = make(svg, "g", { "aria-hidden": "true" });
    svg.insertBefore(below, svg.firstChild); // what stays put is under the present rig
    const above = make(svg, "g", { "aria-hidden": "true" });
    const points = (list) => list.map((p) => place(...p).map((v) => v.toFixed(2)).join(",")).join(" ");
    const letters = (where, text) => {
      const [x, y] = place(...where);
      return make(above, "text", { x, y: y + 4, "text-anchor": "middle" }, text);
    };
    make(below, "polyline", { ...KEPT, stroke: "var(--soft)", points: points([[0, -half], [rig.end, -half]]) });
    for (const force of rig.forces.filter((each) => each.figure === "magnets")) {
      const end = force.end === null ? rig.end : force.end;
      const n = half + 6 / scale + Math.max(0.6 * rig.height, 9 / scale);
      for (const side of [1, -1]) {
        make(below, "polygon", { ...KEPT, points: points([[force.start, side * half], [end, side * half], [end, side * n], [force.start, side * n]]) });
      }
    }
    rig.gates.forEach((gate, k) => {
      const side = k % 2 === 0 ? 1 : -1;
      make(below, "polyline", { ...KEPT, "data-kept-gate": k + 1, points: points([[gate, -side * long], [gate, side * (long + 23 / scale)]]) });
      letters([gate, side * (long + 31 / scale)], "A" + (k + 1));
    });
    const free = ([x, y]) =>
      ![...svg.querySelectorAll("circle")].some((spot) => Math.hypot(spot.getAttribute("cx") - x, spot.getAttribute("cy") - y) < LETTER);
    const part = make(above, "polygon", { ...KEPT, "data-kept-part": "" });
    const name = letters([0, 0], "A");
    updates.push((t) => {
      const x = at(kept.time, kept.parts[0].position.map((p) => p ?? NaN), t, NaN);
      for (const node of [part, name]) node.style.display = Number.isFinite(x) ? "" : "none";
      if (!Number.isFinite(x)) return;
      part.setAttribute("points", points([[x - rig.length, -half], [x, -half], [x, half], [x - rig.length, half]]));
      const asides = [9, -9, 27, -27].map((px) => Math.sign(px) * half + px / scale);
      const spots = asides.flatMap((aside) => [x, x - rig.length / 2, x - rig.length].map((s) => place(s, aside)));
      const spot = spots.find(free);
      name.style.display = spot ? "" : "none";
      const [cx, cy] = spot || spots[0];
      name.setAttribute("x", cx);
      name.setAttribute("y", cy + 4);
    });
    return rig.gates.map((gate, k) => place(gate, (k % 2 ? -1 : 1) * (long + 31 / scale)));
  }

  Object.assign(gatesim, { drawKept });
})();
