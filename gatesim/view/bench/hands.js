"use strict";
var gatesim = gatesim || {};
// Grips on the drawn rig, moved by pointer or keys; the quantities follow.
(function () {
  const { make, rounded, written } = gatesim;
  const REACH = 14; // px from what a grip belongs to

  const ROOMY = 560; // px of a picture on which the grips' names have room

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

    // stage: what drawStage gave; updates as its own; again: draws anew when a drag has ended
    function put(stage, handles, data, updates, again, focus) {
      drawn = { stage, again };
      for (const handle of handles.filter(ready)) {
        const field = find(handle.moves[0].path);
        const grip = make(stage.svg, "circle", {
          r: 8, class: "grip", tabindex: 0, role: "slider", "data-handle": handle.name,
          "aria-label": handle.name + ", " + handle.moves.map((move) => move.path).join(" and "),
          "aria-valuenow": field.value / field.factor, "aria-valuetext": field.text,
        });
        make(grip, "title", {}, handle.name + ": " + field.text);
        const called = stage.width < ROOMY ? "" : handle.short;
        const label = make(stage.svg, "text", { class: "grip-name soft", "text-anchor": "end", "aria-hidden": "true" }, called);
        grip.addEventListener("pointerdown", (event) => grab(event, handle));
        grip.addEventListener("keydown", (event) => key(event, handle));
        updates.push((t, index) => {
          const spot = where(handle, data, index);
          grip.style.display = label.style.display = spot === null ? "none" : "";
          if (spot === null) return;
          const [x, y] = stage.place(...spot);
          grip.setAttribute("cx", x);
          grip.setAttribute("cy", y);
          label.setAttribute("x", x - 13);
          label.setAttribute("y", y + 4);
        });
        if (focus === handle.name) grip.focus({ preventScroll: true });
      }
    }

    return { put, focused, frame: () => (held ? held.frame : undefined) };
  }

  Object.assign(gatesim, { hands });
})();
