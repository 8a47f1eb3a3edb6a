"use strict";
var gatesim = gatesim || {};
// What is so at one moment of the passage, in words.
(function () {
  const { lengthText, at, dark } = gatesim;

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

  function tellNow(now, registers, data, t, index) {
    const x = data.parts[0].position[index];
    const speed = at(data.speed.time, data.speed.speed, t, null);
    const rows = [
      ["leading end", x === null ? "past the last gate" : lengthText(x)],
      ["speed", speed === null ? "" : speed.toFixed(3) + " m/s"],
      ["count (" + data.counts + ")", String(data.count[index])],
    ];
    data.gates.forEach((gate, k) => {
      const blocked = at(gate.time, gate.blocked, t, 0);
      const state = dark(gate.filtered, t) ? "dark" : "light";
      rows.push(["gate " + (k + 1), Math.round(100 * blocked) + " % covered, seen " + state]);
    });
    list(now, rows);
    const cycle = Math.max(0, ...data.moments.filter((m) => m.time <= t).map((m) => m.cycle));
    list(registers, data.moments.filter((m) => m.cycle === cycle).map((m) =>
      [m.name + (m.cycle ? " (part " + (m.cycle + 1) + ")" : ""), m.time > t ? "" : m.count === null ? "done" : String(m.count)]));
  }

  Object.assign(gatesim, { list, tellNow });
})();
