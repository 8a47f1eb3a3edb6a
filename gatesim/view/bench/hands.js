"use strict";
var gatesim = gatesim || {};
// Grips on the drawn rig, moved by pointer or keys; the quantities follow.
(function () {
  const { make, rounded, written } = gatesim;
  const REACH = 14; // px from what a grip belongs to

  const ROOMY = 560; // px of a picture on which the grips' names have room
  const NEAR = 17.5; // px between the middles of two grips, or of a grip and the number of a gate
  const LETTER = 6.5; // px of a letter of such a name, on average

  // the largest of 1, 2, 5 times a power of ten that is no more than this
  function below(size) {
    const power = Math.pow(10, Math.floor(Math.log10(size)));
    return power * [5, 2, 1].find((factor) => factor * power <= size * 1.001);
  }

  // moved by d metres from where the fields stood: {path: text}; pixel: metres that one pixel shows
  function follow(handle, fields, d, pixel) {
    const changes = {};
    for (const { path, sign } of handle.moves) {
      const field = fields[path];
      const step = below(pixel / field.factor);
      let value = (field.value + sign * d) / field.factor;
      if (/above 0/.test(field.expected)) value = Math.max(value, step);
      else if (/0 or more/.test(field.expected)) value = Math.max(value, 0);
      changes[path] = written(rounded(value, step), field.unit);
    }
    return changes;
  }

  // find: function of a path that gives its field; edit: function of (changes, label, gesture)
  function hands(find, edit) {
    let gestures = 0;
    let held = null;
    let drawn = null;

    const fieldsOf = (handle) => Object.fromEntries(handle.moves.map(({ path }) => [path, find(path)]));
    const ready = (handle) => handle.moves.every(({ path }) => find(path) && find(path).value !== null);

    function travel(event) {
      const box = drawn.stage.svg.getBoundingClientRect();
      return drawn.stage.travel(event.clientX - box.left, event.clientY - box.top);
    }

    function grab(event, handle) {
      event.preventDefault();
      held = { handle, from: travel(event), fields: fieldsOf(handle), gesture: "drag " + ++gestures, pixel: 1 / drawn.stage.scale, frame: drawn.stage.frame };
      event.currentTarget.focus();
    }

    window.addEventListener("pointermove", (event) => {
      if (held) edit(follow(held.handle, held.fields, travel(event) - held.from, held.pixel), held.handle.name, held.gesture);
    });
    const release = () => {
      if (!held) return;
      held = null;
      drawn.again();
    };
    window.addEventListener("pointerup", release);
    window.addEventListener("pointercancel", release);

    function key(event, handle) {
      const sign = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
      if (!sign) return;
      event.preventDefault();
      if (!event.repeat) gestures++;
      const pixel = (event.shiftKey ? 0.5 : 5) / drawn.stage.scale;
      const factor = find(handle.moves[0].path).factor;
      const d = sign * below(pixel / factor) * factor;
      edit(follow(handle, fieldsOf(handle), d, pixel / 5), handle.name, "key " + gestures);
    }

    function where(handle, data, index) {
      const { half, long, scale } = drawn.stage;
      if (handle.on === "part") {
        const x = data.parts[0].position[index];
        return x === null ? null : [x - data.rig.length, 0];
      }
      if (handle.on === "release") return [0, -half - (REACH + 12) / scale];
      const gate = /^gate (\d)$/.exec(handle.name);
      if (gate) return [handle.at, (Number(gate[1]) % 2 ? -1 : 1) * (long + 4 / scale)];
      return [handle.at, half + (REACH + 4) / scale];
    }

    // name of the grip that has the focus, to be given to the one that takes its place
    const focused = () => (document.activeElement ? document.activeElement.getAttribute("data-handle") : null);

    const numbers = (data) => data.gates.map((gate, k) => drawn.stage.place(gate.position, (k % 2 ? -1 : 1) * (drawn.stage.long + 11 / drawn.stage.scale)));

    // a grip that would lie on the number of a gate, or on another grip, is moved away from the path, or across it
    function clear(handle, [s, n], occupied) {
      const { stage } = drawn;
      if (handle.on !== "path") return stage.place(s, n);
      const away = (24 / stage.scale) * (n < 0 ? -1 : 1);
      const spots = [n, n + away, -n, -n - away, n + 2 * away].map((height) => stage.place(s, height));
      const room = ([x, y]) => Math.min(...occupied.map((other) => Math.hypot(x - other[0], y - other[1])));
      return spots.find((spot) => room(spot) >= NEAR) || spots.reduce((best, spot) => (room(spot) > room(best) ? spot : best));
    }

    // Names beside their grips, on the left or else on the right, where they touch no grip, no number of a
    // gate and no other name; none where there is no such place. placed: grips with their
    // spots; others: spots of numbers and letters; px.
    function name(placed, others) {
      const { stage } = drawn;
      const taken = placed.map(({ x, y }) => [x - 10, y - 10, x + 10, y + 10]);
      for (const [x, y] of others) taken.push([x - 10, y - 10, x + 10, y + 10]);
      placed.forEach(({ x, y, label, handle }) => {
        const wide = LETTER * handle.short.length;
        const boxes = [[x - 13 - wide, y - 7, x - 13, y + 7], [x + 13, y - 7, x + 13 + wide, y + 7]];
        const free = (box) => box[0] > 0 && box[2] < stage.width && !taken.some((b) => box[0] < b[2] && b[0] < box[2] && box[1] < b[3] && b[1] < box[3]);
        const side = stage.width < ROOMY || !wide ? -1 : boxes.findIndex(free);
        label.textContent = side < 0 ? "" : handle.short;
        if (side < 0) return;
        taken.push(boxes[side]);
        label.setAttribute("text-anchor", side ? "start" : "end");
        label.setAttribute("x", side ? x + 13 : x - 13);
        label.setAttribute("y", y + 4);
      });
    }

    // stage: what drawStage gave; updates as its own; again: draws anew when a drag has ended; letters: places
    // in px to keep free
    function put(stage, handles, data, updates, again, focus, letters) {
      drawn = { stage, again };
      const all = handles.filter(ready).map((handle) => {
        const field = find(handle.moves[0].path);
        const lead = make(stage.svg, "line", { stroke: "var(--soft)", "stroke-dasharray": "1 3", "aria-hidden": "true" });
        const grip = make(stage.svg, "circle", {
          r: 8, class: "grip", tabindex: 0, role: "slider", "data-handle": handle.name,
          "aria-label": handle.name + ", " + handle.moves.map((move) => move.path).join(" and "),
          "aria-valuenow": field.value / field.factor, "aria-valuetext": field.text,
        });
        make(grip, "title", {}, handle.name + ": " + field.text);
        const label = make(stage.svg, "text", { class: "grip-name soft", "aria-hidden": "true" }, "");
        grip.addEventListener("pointerdown", (event) => grab(event, handle));
        grip.addEventListener("keydown", (event) => key(event, handle));
        if (focus === handle.name) grip.focus({ preventScroll: true });
        return { handle, grip, label, lead };
      });
      updates.push((t, index) => {
        const others = [...numbers(data), ...letters];
        const occupied = [...others];
        const placed = all.flatMap((each) => {
          const spot = where(each.handle, data, index);
          each.grip.style.display = each.label.style.display = each.lead.style.display = spot === null ? "none" : "";
          if (spot === null) return [];
          const [x, y] = clear(each.handle, spot, occupied);
          if (each.handle.on !== "part") occupied.push([x, y]); // who stays gives no way to what passes
          each.grip.setAttribute("cx", x);
          each.grip.setAttribute("cy", y);
          const [fromX, fromY] = stage.place(spot[0], 0);
          for (const [key, value] of Object.entries({ x1: fromX, y1: fromY, x2: x, y2: y })) each.lead.setAttribute(key, value);
          return [{ ...each, x, y }];
        });
        name(placed, others);
      });
    }

    return { put, focused, frame: () => (held ? held.frame : undefined) };
  }

  Object.assign(gatesim, { hands });
})();
