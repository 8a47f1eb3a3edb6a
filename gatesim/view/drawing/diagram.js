"use strict";
var gatesim = gatesim || {};
// Marks of a picture, and an empty diagram with axes.
(function () {
  const SVG = "http://www.w3.org/2000/svg";
  // the unit of all lengths: how many a metre has, its name, and decimal places beyond those in mm
  const { MM, LENGTH, MORE } = Object.assign({ MM: 1e3, LENGTH: "mm", MORE: 0 }, gatesim.unit);
  const MS = 1e3;
  // lines of a rig that is kept to compare with: told apart without colour
  const KEPT = { fill: "none", stroke: "var(--ink)", "stroke-width": 1.5, "stroke-dasharray": "2 3" };

  function make(parent, tag, attributes, text) {
    const node = document.createElementNS(SVG, tag);
    for (const key in attributes) node.setAttribute(key, attributes[key]);
    if (text !== undefined) node.textContent = text;
    parent.appendChild(node);
    return node;
  }

  // digits of a length in m, with the decimal places that it would have in mm
  function lengthDigits(metres, inMm) {
    return (MM * metres).toFixed(Math.max(inMm + MORE, 0));
  }

  function lengthText(metres) {
    return lengthDigits(metres, 1) + " " + LENGTH;
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

  // a line at the time that is shown; updates: functions of (time, index) that follow it
  function cursor(diagram, updates) {
    const line = make(diagram.svg, "line", {
      y1: diagram.box.top, y2: diagram.box.bottom, stroke: "var(--beam)", "stroke-width": 2,
    });
    updates.push((t) => {
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

  Object.assign(gatesim, { MM, MS, LENGTH, lengthDigits, lengthText, KEPT, make, canvas, hatch, at, dark, ticks, diagram, path, cursor, band });
})();
