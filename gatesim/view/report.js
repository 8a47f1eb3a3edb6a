"use strict";
(function () {
  const data = JSON.parse(document.getElementById("data").textContent);
  const SVG = "http://www.w3.org/2000/svg";
  const MM = 1e3;
  const MS = 1e3;
  const byId = (id) => document.getElementById(id);
  const shown = { index: data.start, updates: [] };

  function make(parent, tag, attributes, text) {
    const node = document.createElementNS(SVG, tag);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    parent.appendChild(node);
    return node;
  }

  function canvas(element, width, height) {
    element.replaceChildren();
    return make(element, "svg", { width, height, viewBox: "0 0 " + width + " " + height });
  }

  function hatch(svg, name, colour) {
    const pattern = make(make(svg, "defs", {}), "pattern", {
      id: name, width: 6, height: 6, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)",
    });
    make(pattern, "line", { x1: 0, y1: 0, x2: 0, y2: 6, stroke: colour, "stroke-width": 3 });
  }

  // value of a polyline (x rising) at a point; outside it the given rest
  function at(xs, ys, x, rest) {
    if (!xs.length || x < xs[0] || x > xs[xs.length - 1]) return rest;
    let low = 0;
    let high = xs.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] <= x) low = middle;
      else high = middle;
    }
    const span = xs[high] - xs[low];
    return span > 0 ? ys[low] + ((ys[high] - ys[low]) * (x - xs[low])) / span : ys[high];
  }

  const dark = (edges, t) => edges.filter((edge) => edge <= t).length % 2 === 1;

  function ticks(low, high, most) {
    const rough = (high - low) / most;
    const power = Math.pow(10, Math.floor(Math.log10(rough)));
    const step = power * [1, 2, 5, 10].find((factor) => factor * power >= rough);
    const marks = [];
    for (let k = Math.ceil(low / step - 1e-9); k * step <= high * (1 + 1e-12) + 1e-12; k++) marks.push(k * step);
    return { marks, digits: Math.max(0, -Math.floor(Math.log10(step) + 1e-9)) };
  }

  // an empty diagram: axes with units, and the maps from values to pixels
  function diagram(element, width, height, x, y) {
    const svg = canvas(element, width, height);
    const box = { left: 52, right: width - 14, top: 24, bottom: height - 42 };
    const toX = (v) => box.left + ((v - x.low) / (x.high - x.low)) * (box.right - box.left);
    const toY = (v) => box.bottom - ((v - y.low) / (y.high - y.low)) * (box.bottom - box.top);
    const across = ticks(x.low, x.high, Math.max(2, Math.floor((box.right - box.left) / 80)));
    for (const mark of across.marks) {
      make(svg, "line", { x1: toX(mark), x2: toX(mark), y1: box.bottom, y2: box.bottom + 5, stroke: "var(--ink)" });
      make(svg, "text", { x: toX(mark), y: box.bottom + 18, "text-anchor": "middle" }, mark.toFixed(across.digits));
    }
    const up = y.plain ? { marks: [] } : ticks(y.low, y.high, Math.max(2, Math.floor((box.bottom - box.top) / 45)));
    for (const mark of up.marks) {
      make(svg, "line", { x1: box.left, x2: box.right, y1: toY(mark), y2: toY(mark), stroke: "var(--rule)" });
      make(svg, "text", { x: box.left - 6, y: toY(mark) + 4, "text-anchor": "end" }, mark.toFixed(up.digits));
    }
    make(svg, "line", { x1: box.left, x2: box.right, y1: box.bottom, y2: box.bottom, stroke: "var(--ink)" });
    make(svg, "text", { x: box.right, y: height - 6, "text-anchor": "end", class: "soft" }, x.label);
    make(svg, "text", { x: 4, y: 14, class: "soft" }, y.label);
    return { svg, box, toX, toY };
  }

  function path(diagram, xs, ys, attributes) {
    const points = xs.map((x, k) => diagram.toX(x).toFixed(2) + "," + diagram.toY(ys[k]).toFixed(2));
    return make(diagram.svg, "polyline", Object.assign({ points: points.join(" "), fill: "none" }, attributes));
  }

  function cursor(diagram, from) {
    const line = make(diagram.svg, "line", {
      y1: diagram.box.top, y2: diagram.box.bottom, stroke: "var(--beam)", "stroke-width": 2,
    });
    shown.updates.push((t) => {
      const x = diagram.toX(MS * t);
      line.setAttribute("x1", x);
      line.setAttribute("x2", x);
      line.style.display = x >= diagram.box.left && x <= diagram.box.right ? "" : "none";
    });
  }

  function band(diagram, from, to, colour) {
    if (from === null || to === null) return;
    const left = diagram.toX(MS * from);
    make(diagram.svg, "rect", {
      x: left, width: Math.max(0, diagram.toX(MS * to) - left), y: diagram.box.top,
      height: diagram.box.bottom - diagram.box.top, fill: colour,
    });
  }

  function drawStage(width) {
    const rig = data.rig;
    const cos = Math.cos(rig.slope);
    const sin = Math.sin(rig.slope);
    const drawn = (figure) => rig.forces.filter((force) => force.figure === figure);
    const back = -rig.length - Math.max(0, ...drawn("spring").map((force) => force.end));
    const reach = Math.max(2.2 * rig.height, 0.03 * rig.end);
    const corner = (s, n) => [s * cos + n * sin, s * sin - n * cos];
    const corners = [corner(back, reach), corner(back, -reach), corner(rig.end, reach), corner(rig.end, -reach)];
    const xs = corners.map((c) => c[0]);
    const ys = corners.map((c) => c[1]);
    const low = [Math.min(...xs), Math.min(...ys)];
    const size = [Math.max(...xs) - low[0], Math.max(...ys) - low[1]];
    const margin = 34;
    const tallest = Math.max(160, Math.min(0.62 * window.innerHeight, 520));
    const scale = Math.min((width - 2 * margin) / size[0], (tallest - 2 * margin) / size[1]);
    const height = Math.ceil(size[1] * scale + 2 * margin + 12);
    const shift = [(width - size[0] * scale) / 2, margin];
    const place = (s, n) => {
      const c = corner(s, n);
      return [(c[0] - low[0]) * scale + shift[0], (c[1] - low[1]) * scale + shift[1]];
    };
    const pair = (p) => p[0].toFixed(2) + "," + p[1].toFixed(2);
    const svg = canvas(byId("stage"), width, height);
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
    shown.updates.push((t, index) => {
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
  }

  function scaleBar(svg, scale, height) {
    const lengths = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5];
    const length = lengths.find((l) => l * scale >= 40) || 5;
    const y = height - 10;
    make(svg, "path", { d: "M10 " + (y - 5) + "v5h" + length * scale + "v-5", fill: "none", stroke: "var(--ink)" });
    make(svg, "text", { x: 16 + length * scale, y }, MM * length + " mm");
  }

  function drawSignals(width) {
    const row = 46;
    const height = 66 + data.gates.length * row + 90;
    const x = { low: 0, high: MS * data.end, label: "time since release / ms" };
    const d = diagram(byId("signals"), width, height, x, { low: 0, high: 1, label: "", plain: true });
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
    cursor(d);
  }

  function drawPosition(width) {
    const rig = data.rig;
    const x = { low: 0, high: MS * data.end, label: "time since release / ms" };
    const y = { low: -MM * rig.length, high: MM * rig.end, label: "position along the path / mm" };
    const d = diagram(byId("position"), width, Math.min(340, 190 + width / 6), x, y);
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
    cursor(d);
  }

  function drawSpeed(width) {
    const area = data.area;
    const legend = byId("speed-legend");
    const whole = legend === null || area.leaves === null || area.second === null;
    const dwell = whole ? 0 : Math.max(area.leaves, area.second) - area.enters;
    const from = whole ? 0 : Math.max(0, area.enters - 0.25 * dwell);
    const to = whole ? data.end : area.enters + 1.25 * dwell;
    const inside = data.speed.time.map((t, k) => [t, data.speed.speed[k]]).filter((p) => p[0] >= from && p[0] <= to);
    const top = 1.12 * Math.max(0.01, ...inside.map((p) => p[1]));
    const x = { low: MS * from, high: MS * to, label: "time since release / ms" };
    const d = diagram(byId("speed"), width, Math.min(400, 230 + width / 6), x, { low: 0, high: top, label: "speed / (m/s)" });
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
    cursor(d);
    if (!whole) tellAreas(legend);
  }

  function tellAreas(legend) {
    const area = data.area;
    const mm = (length) => (MM * length).toFixed(1) + " mm";
    const left = area.length - area.rectangle;
    const items = [
      ["dwell", "Under the curve while gate 1 is dark: the true length, " + mm(area.length) + "."],
      ["spacing", "From gate 1 to gate 2: the spacing, " + mm(area.spacing) + ". The controller takes its speed from here: "
        + area.early.toFixed(3) + " m/s on average."],
      ["box", "What the controller reckons with: that speed all the time gate 1 is dark, " + mm(area.rectangle) + "."],
      ["left-over", left > 0 ? "Missing in the reading: " + mm(left) + "." : "Too much in the reading: " + mm(-left) + "."],
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

  function drawHistogram(width) {
    const h = data.histogram;
    const element = byId("histogram");
    if (!h || !element) return;
    const points = [...h.edges, ...h.limits, 0];
    const x = { low: Math.min(...points), high: Math.max(...points), label: "reading less true length / mm" };
    const y = { low: 0, high: 1.1 * Math.max(...h.density), label: "share of parts a mm" };
    const d = diagram(element, width, Math.min(320, 190 + width / 6), x, y);
    make(d.svg, "rect", {
      x: d.toX(h.low), width: d.toX(h.high) - d.toX(h.low), y: d.box.top, height: d.box.bottom - d.box.top,
      fill: "var(--cold-wash)",
    });
    let outline = "M" + d.toX(h.edges[0]) + " " + d.box.bottom;
    h.density.forEach((value, k) => {
      outline += "V" + d.toY(value).toFixed(2) + "H" + d.toX(h.edges[k + 1]).toFixed(2);
    });
    make(d.svg, "path", { d: outline + "V" + d.box.bottom + "Z", fill: "var(--cold)" });
    const upright = (value, attributes) =>
      make(d.svg, "line", Object.assign({
        x1: d.toX(value), x2: d.toX(value), y1: d.box.top, y2: d.box.bottom, stroke: "var(--ink)", "stroke-width": 2,
      }, attributes));
    upright(h.bias, {});
    for (const limit of h.limits) upright(limit, { "stroke-dasharray": "7 4" });
  }

  function list(element, rows) {
    while (element.children.length > rows.length) element.lastElementChild.remove();
    rows.forEach(([name, value], k) => {
      let row = element.children[k];
      if (!row) {
        row = document.createElement("div");
        row.append(document.createElement("dt"), document.createElement("dd"));
        element.append(row);
      }
      row.children[0].textContent = name;
      row.children[1].textContent = value;
    });
  }

  function tellNow(t, index) {
    const x = data.parts[0].position[index];
    const speed = at(data.speed.time, data.speed.speed, t, null);
    const rows = [
      ["leading end", x === null ? "past the last gate" : (MM * x).toFixed(1) + " mm"],
      ["speed", speed === null ? "" : speed.toFixed(3) + " m/s"],
      ["count (" + data.counts + ")", String(data.count[index])],
    ];
    data.gates.forEach((gate, k) => {
      const blocked = at(gate.time, gate.blocked, t, 0);
      const state = dark(gate.filtered, t) ? "dark" : "light";
      rows.push(["gate " + (k + 1), Math.round(100 * blocked) + " % covered, seen " + state]);
    });
    list(byId("now"), rows);
    const cycle = Math.max(0, ...data.moments.filter((m) => m.time <= t).map((m) => m.cycle));
    list(byId("registers"), data.moments.filter((m) => m.cycle === cycle).map((m) =>
      [m.name + (m.cycle ? " (part " + (m.cycle + 1) + ")" : ""), m.time > t ? "" : m.count === null ? "done" : String(m.count)]));
  }

  const scrub = byId("scrub");
  const clock = byId("clock");

  function show(index) {
    shown.index = index;
    const t = data.time[index];
    const text = (MS * t).toFixed(1) + " ms";
    scrub.value = index;
    scrub.setAttribute("aria-valuetext", text + ", count " + data.count[index]);
    clock.textContent = text;
    for (const update of shown.updates) update(t, index);
    tellNow(t, index);
  }

  function render(width) {
    shown.updates = [];
    drawStage(width);
    drawSignals(width);
    drawPosition(width);
    drawSpeed(width);
    drawHistogram(width);
    show(shown.index);
  }

  const play = byId("play");
  let running = null;

  function stop() {
    if (running !== null) cancelAnimationFrame(running);
    running = null;
    play.textContent = "Play";
  }

  function start() {
    const last = data.time.length - 1;
    const begun = performance.now();
    const first = shown.index >= last ? 0 : shown.index;
    const step = (now) => {
      // the first frame may be stamped a little before it was asked for
      const index = Math.min(last, first + Math.floor((Math.max(0, now - begun) / 6000) * last));
      show(index);
      if (index < last) running = requestAnimationFrame(step);
      else stop();
    };
    play.textContent = "Pause";
    running = requestAnimationFrame(step);
  }

  play.addEventListener("click", () => (running === null ? start() : stop()));
  scrub.addEventListener("input", () => {
    stop();
    show(Number(scrub.value));
  });

  const stage = byId("stage");
  let drawn = 0;
  function fit() {
    const width = Math.max(260, Math.floor(stage.clientWidth));
    if (width !== drawn) {
      drawn = width;
      render(width);
    }
  }
  new ResizeObserver(fit).observe(stage);
  window.addEventListener("beforeprint", () => {
    for (const details of document.querySelectorAll("details")) details.open = true;
    render(640);
  });
  window.addEventListener("afterprint", () => render(drawn));
  fit();
})();
