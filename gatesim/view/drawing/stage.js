"use strict";
var gatesim = gatesim || {};
// The rig to scale, and the part on its way.
(function () {
  const { LENGTH, MM, make, canvas, hatch, at } = gatesim;

  // travel from the far left to the far right of the picture, and its half height; m
  function frame(rig) {
    const springs = rig.forces.filter((force) => force.figure === "spring").map((force) => force.end);
    const back = -rig.length - Math.max(0, ...springs);
    return { back, end: rig.end, reach: Math.max(2.2 * rig.height, 0.03 * rig.end) };
  }

  const room = () => Math.max(160, Math.min(0.62 * window.innerHeight, 520));

  // a point at travel s and height n above a path of that slope; m, x to the right and y down
  const corner = (slope, s, n) => [s * Math.cos(slope) + n * Math.sin(slope), s * Math.sin(slope) - n * Math.cos(slope)];

  const cornersOf = (slope, { back, end, reach }) =>
    [[back, reach], [back, -reach], [end, reach], [end, -reach]].map((at) => corner(slope, ...at));

  // held: a frame to keep while something is dragged; kept: a rig that is drawn with this one; tallest: px;
  // rim: px to keep free above and below for what is drawn on top.
  // Returns where travel and height are on the picture, on this path or along one of another slope.
  function drawStage(element, data, width, updates, { held, kept, tallest = room(), rim = 0 } = {}) {
    const rig = data.rig;
    const drawn = (figure) => rig.forces.filter((force) => force.figure === figure);
    const { back, end, reach } = held || frame(rig);
    const corners = cornersOf(rig.slope, { back, end, reach }).concat(kept ? cornersOf(kept.slope, frame(kept)) : []);
    const xs = corners.map((c) => c[0]);
    const ys = corners.map((c) => c[1]);
    const low = [Math.min(...xs), Math.min(...ys)];
    const size = [Math.max(...xs) - low[0], Math.max(...ys) - low[1]];
    const margin = kept ? 50 : 34; // room for the letters
    const scale = Math.min((width - 2 * margin) / size[0], (tallest - 2 * (margin + rim)) / size[1]);
    const height = Math.ceil(size[1] * scale + 2 * (margin + rim) + 12);
    const shift = [(width - size[0] * scale) / 2, margin + rim];
    const along = (slope) => (s, n) => {
      const c = corner(slope, s, n);
      return [(c[0] - low[0]) * scale + shift[0], (c[1] - low[1]) * scale + shift[1]];
    };
    const place = along(rig.slope);
    const pair = (p) => p[0].toFixed(2) + "," + p[1].toFixed(2);
    const svg = canvas(element, width, height);
    hatch(svg, "magnet", "var(--soft)");
    const line = (s1, n1, s2, n2, attributes) => {
      const a = place(s1, n1);
      const b = place(s2, n2);
      return make(svg, "line", Object.assign({ x1: a[0], y1: a[1], x2: b[0], y2: b[1] }, attributes));
    };
    const box = (s1, s2, n1, n2, attributes) =>
      make(svg, "polygon", Object.assign({
        points: [place(s1, n1), place(s2, n1), place(s2, n2), place(s1, n2)].map(pair).join(" "),
      }, attributes));
    const half = rig.height / 2;
    line(back, -half, rig.end, -half, { stroke: "var(--ink)", "stroke-width": 1.5 });
    for (const belt of drawn("belt")) {
      const thick = Math.max(rig.height * 0.5, 10 / scale);
      for (const n of [-half, -half - thick]) {
        line(belt.start, n, rig.end, n, { stroke: "var(--soft)", "stroke-width": 3 });
      }
      for (const s of [belt.start, rig.end]) {
        const c = place(s, -half - thick / 2);
        make(svg, "circle", {
          cx: c[0], cy: c[1], r: (thick / 2) * scale, fill: "none", stroke: "var(--soft)", "stroke-width": 3,
        });
      }
    }
    for (const magnets of drawn("magnets")) {
      const thick = Math.max(0.6 * rig.height, 9 / scale);
      for (const n of [half + 3 / scale, -half - thick - 3 / scale]) {
        box(magnets.start, magnets.end, n, n + thick, { fill: "url(#magnet)", stroke: "var(--ink)" });
      }
    }
    const springs = drawn("spring").map((force) => ({
      end: force.end, shape: make(svg, "polyline", { fill: "none", stroke: "var(--warm)", "stroke-width": 2 }),
    }));
    const parts = data.parts.map((_, k) =>
      make(svg, "polygon", {
        fill: k ? "var(--cold-wash)" : "var(--cold-deep)", stroke: "var(--ink)", "stroke-width": 1.5,
        class: "part", "data-part": k,
      }));
    const long = Math.max(reach, 16 / scale);
    const beams = data.gates.map((gate, k) => {
      const up = k % 2 === 0 ? 1 : -1;
      const beam = line(gate.position, -long, gate.position, long, {
        stroke: "var(--beam)", "stroke-width": 3, class: "beam", "data-gate": k + 1,
      });
      const c = place(gate.position, up * (long + 11 / scale));
      const disc = make(svg, "circle", { cx: c[0], cy: c[1], r: 9, stroke: "var(--ink)", fill: "var(--paper)" });
      const label = make(svg, "text", { x: c[0], y: c[1] + 4, "text-anchor": "middle" }, String(k + 1));
      return { gate, beam, disc, label };
    });
    scaleBar(svg, scale, height);
    updates.push((t, index) => {
      parts.forEach((node, k) => {
        const x = data.parts[k].position[index];
        node.style.display = x === null ? "none" : "";
        if (x === null) return;
        node.setAttribute("data-travel", x);
        const points = [place(x - rig.length, -half), place(x, -half), place(x, half), place(x - rig.length, half)];
        node.setAttribute("points", points.map(pair).join(" "));
      });
      for (const spring of springs) {
        const x = Math.min(data.parts[0].position[index] ?? Infinity, spring.end);
        const end = x - rig.length;
        const points = [];
        for (let k = 0; k <= 16; k++) {
          points.push(place(back + ((end - back) * k) / 16, k % 2 ? 0.35 * rig.height : -0.35 * rig.height));
        }
        spring.shape.setAttribute("points", points.map(pair).join(" "));
      }
      for (const b of beams) {
        const blocked = at(b.gate.time, b.gate.blocked, t, 0);
        const covered = blocked > 0.5;
        b.beam.setAttribute("stroke-opacity", (1 - 0.75 * blocked).toFixed(3));
        b.beam.setAttribute("stroke-dasharray", covered ? "3 4" : "none");
        b.beam.setAttribute("data-blocked", blocked.toFixed(4));
        b.disc.setAttribute("fill", covered ? "var(--ink)" : "var(--paper)");
        b.label.style.fill = covered ? "var(--paper)" : "var(--ink)";
      }
    });
    // travel of a point of the picture: the foot of its perpendicular on the path
    const travel = (x, y) =>
      ((x - shift[0]) / scale + low[0]) * Math.cos(rig.slope) + ((y - shift[1]) / scale + low[1]) * Math.sin(rig.slope);
    return { svg, width, place, along, travel, scale, long, half, frame: { back, end, reach } };
  }

  function scaleBar(svg, scale, height) {
    // round in the unit of lengths
    const lengths = [-2, -1, 0, 1, 2, 3, 4, 5, 6, 7].flatMap((power) => [1, 2, 5].map((digit) => digit * 10 ** power));
    const shown = lengths.find((l) => (l / MM) * scale >= 40);
    const length = shown / MM;
    const y = height - 10;
    make(svg, "path", { d: "M10 " + (y - 5) + "v5h" + length * scale + "v-5", fill: "none", stroke: "var(--ink)" });
    make(svg, "text", { x: 16 + length * scale, y }, parseFloat(shown.toPrecision(6)) + " " + LENGTH);
  }

  Object.assign(gatesim, { drawStage });
})();
