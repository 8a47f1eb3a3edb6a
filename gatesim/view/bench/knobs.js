"use strict";
var gatesim = gatesim || {};
// Every quantity as a field with a slider and its spread.
(function () {
  const SIZES = { "student-t": "standard_uncertainty", normal: "standard_uncertainty" };
  const STEPS = 400;
  const id = (path, what) => what + "-" + path.replace(/\./g, "-");
  const words = (path) => path.replace(/_/g, " ").replace(/\./g, " ");

  function element(tag, attributes, ...children) {
    const node = document.createElement(tag);
    for (const key in attributes) {
      if (key === "class") node.className = attributes[key];
      else if (key.startsWith("on")) node.addEventListener(key.slice(2), attributes[key]);
      else if (attributes[key] === true) node.setAttribute(key, "");
      else if (attributes[key] !== false && attributes[key] !== undefined) node.setAttribute(key, attributes[key]);
    }
    node.append(...children);
    return node;
  }

  // a step of 1, 2 or 5 times a power of ten, about a four-hundredth of the range
  function niceStep(range) {
    const rough = range / STEPS;
    const power = Math.pow(10, Math.floor(Math.log10(rough)));
    return power * [1, 2, 5, 10].find((factor) => factor * power >= rough * 0.999);
  }

  // a number with as many places as a step has
  function rounded(value, step) {
    const places = Math.min(12, Math.max(0, -Math.floor(Math.log10(step) + 1e-9)));
    return String(Number((Math.round(value / step) * step).toFixed(places)));
  }

  const written = (number, unit) => (unit ? number + " " + unit : Number(number));

  // edit: function of (path, value, gesture); lengths of ranges are kept as long as the value is inside
  function knobs(place, edit) {
    const ranges = {};
    let gestures = 0;
    let shape = "";
    let known = {};

    function range(field) {
      const value = field.value === null ? null : field.value / field.factor;
      const held = ranges[field.path];
      if (held && held.unit === field.unit && (value === null || (value >= held.low && value <= held.high))) return held;
      return (ranges[field.path] = { low: field.low, high: field.high, unit: field.unit, step: niceStep(field.high - field.low) });
    }

    function slider(field) {
      let gesture = 0;
      const begin = () => { gesture = 0; };
      return element("input", {
        type: "range", id: id(field.path, "slide"), "aria-label": field.name + ", slider",
        onchange: begin,
        oninput: (event) => {
          const now = known[field.path];
          const { step, low } = range(now);
          const value = Math.max(Number(event.target.value), low === 0 && /above 0/.test(now.expected) ? step : low);
          gesture = gesture || ++gestures;
          edit(field.path, written(rounded(value, step), now.unit), "slide " + gesture);
        },
      });
    }

    function typed(field) {
      const send = (event) => {
        const text = event.target.value.trim();
        const now = known[field.path];
        if (text === now.text) return;
        const plain = text !== "" && Number.isFinite(Number(text)) && !now.unit;
        edit(field.path, text === "" ? null : plain ? Number(text) : text);
      };
      return element("input", {
        type: "text", id: id(field.path, "type"), autocomplete: "off", spellcheck: "false", onchange: send,
        placeholder: field.optional && !field.default ? "not stated" : "",
        "aria-describedby": id(field.path, "about") + " " + id(field.path, "refused"),
      });
    }

    // the spread: a distribution and its size
    function spread(field) {
      const kinds = ["exact", "normal", "rectangular", "triangular", "arcsine", "trapezoidal", "student-t"];
      const kind = element("select", { id: id(field.path, "kind"), "aria-label": field.name + ", distribution" },
        ...kinds.map((word) => element("option", { value: word }, word)));
      const size = element("input", {
        type: "text", id: id(field.path, "size"), autocomplete: "off", "aria-label": field.name + ", size of its spread",
      });
      const send = () => {
        const now = known[field.path];
        const value = now.spread ? now.spread.value : written(now.text, "");
        const bare = now.unit ? now.text : Number.isFinite(Number(now.text)) ? Number(now.text) : now.text;
        if (kind.value === "exact") return edit(field.path, now.spread ? { exact: value } : bare);
        const key = SIZES[kind.value] || "half_width";
        const room = 0.01 * Math.abs(now.value / now.factor) || 0.01 * now.high;
        const text = size.value.trim() || rounded(room, niceStep(100 * room)) + (now.unit ? " " + now.unit : "");
        const table = { value: now.spread ? value : bare, distribution: kind.value };
        if (now.spread && now.spread.per) table.per = now.spread.per;
        table[key] = Number.isFinite(Number(text)) && !now.unit ? Number(text) : text;
        if (kind.value === "trapezoidal") table.top_ratio = (now.spread || {}).top_ratio ?? 0.5;
        if (kind.value === "student-t") table.degrees_of_freedom = (now.spread || {}).degrees_of_freedom ?? 5;
        edit(field.path, table);
      };
      kind.addEventListener("change", () => { if (kind.value === "exact") size.value = ""; send(); });
      size.addEventListener("change", send);
      return [kind, size];
    }

    function quantity(field) {
      const more = element("div", { class: "more", id: id(field.path, "more"), hidden: true },
        element("p", { class: "small", id: id(field.path, "about") }, field.about + (field.default ? " Left out: " + field.default + "." : "") + " Expected: " + field.expected + "."),
        element("div", { class: "spread" }, element("span", {}, "spread"), ...spread(field)));
      const toggle = element("button", {
        type: "button", class: "plain-button", "aria-expanded": "false", "aria-controls": more.id,
        "aria-label": field.name + ", spread and meaning",
        onclick: () => {
          more.hidden = !more.hidden;
          toggle.setAttribute("aria-expanded", String(!more.hidden));
        },
      }, "±");
      return element("div", { class: "knob", "data-path": field.path },
        element("label", { for: id(field.path, "type") }, field.name), typed(field), toggle, slider(field),
        element("span", { class: "std", id: id(field.path, "std") }), more,
        element("p", { class: "refusal", role: "alert", id: id(field.path, "refused"), hidden: true }));
    }

    function choice(field) {
      const select = element("select", { id: id(field.path, "type"), onchange: () => edit(field.path, JSON.parse(select.value)) },
        ...field.options.map((option) => element("option", { value: JSON.stringify(option) }, option === null ? "not stated" : String(option))));
      return plainKnob(field, select);
    }

    function whole(field) {
      const input = element("input", { id: id(field.path, "type"), type: "number", step: "1",
        onchange: () => edit(field.path, Number(input.value)) });
      return plainKnob(field, input);
    }

    function plainKnob(field, input) {
      input.setAttribute("aria-describedby", id(field.path, "refused"));
      if (field.about) input.title = field.about;
      return element("div", { class: "knob", "data-path": field.path },
        element("label", { for: input.id }, field.name), input,
        element("p", { class: "refusal", role: "alert", id: id(field.path, "refused"), hidden: true }));
    }

    const makers = { quantity, choice, whole };

    function group(each) {
      const rows = each.fields.map((field) => makers[field.type](field));
      if (each.kind) rows.unshift(kindOf(each.kind));
      const remove = each.removable
        ? [element("button", { type: "button", class: "plain-button", onclick: () => edit(each.path, null) }, "Leave out [" + each.path + "]")]
        : [];
      return element("details", { open: each.given, "data-group": each.path },
        element("summary", {}, words(each.path)), element("p", { class: "small" }, each.about), ...rows, ...remove);
    }

    function kindOf(kind) {
      const select = element("select", { id: id(kind.path, "type"), onchange: () => edit(kind.path, kind.kinds[select.value]) },
        ...Object.keys(kind.kinds).map((word) => element("option", { value: word, selected: word === kind.now }, word)));
      return plainKnob({ path: kind.path, name: kind.key, about: "" }, select);
    }

    function build(groups) {
      const focused = document.activeElement && place.contains(document.activeElement) ? document.activeElement.id : "";
      const opened = new Map([...place.querySelectorAll("details")].map((d) => [d.dataset.group, d.open]));
      const there = groups.filter((each) => each.example === undefined);
      const absent = groups.filter((each) => each.example !== undefined);
      place.replaceChildren(...there.map(group));
      place.append(element("details", { "data-group": "add" }, element("summary", {}, "add to the rig"),
        ...absent.map((each) => element("p", { class: "add" },
          element("button", { type: "button", class: "plain-button", "data-add": each.path, onclick: () => edit(each.path, each.example) }, "Add [" + each.path + "]"),
          " ", element("span", { class: "small" }, each.about)))));
      for (const details of place.querySelectorAll("details")) {
        if (opened.has(details.dataset.group)) details.open = opened.get(details.dataset.group) || details.open;
      }
      if (focused && document.getElementById(focused)) document.getElementById(focused).focus();
    }

    function fill(field) {
      const box = document.getElementById(id(field.path, "type"));
      if (field.type === "choice") { box.value = JSON.stringify(field.value); return; }
      if (field.type === "whole") { if (document.activeElement !== box) box.value = field.value; return; }
      // what is being typed is left alone
      if (document.activeElement !== box || box.value === box.dataset.shown) box.value = field.text;
      box.dataset.shown = field.text;
      const slide = document.getElementById(id(field.path, "slide"));
      const { low, high, step } = range(field);
      if (slide.dataset.range !== low + " " + high + " " + step) {
        slide.min = low;
        slide.max = high;
        slide.step = step;
        slide.dataset.range = low + " " + high + " " + step;
      }
      if (field.value !== null) slide.value = field.value / field.factor;
      slide.classList.toggle("unset", field.value === null);
      slide.setAttribute("aria-valuetext", field.text || "not stated");
      const unit = field.unit ? " " + field.unit : "";
      document.getElementById(id(field.path, "std")).textContent =
        field.spread && field.std !== null ? field.spread.distribution + ", u = " + Number(field.std.toPrecision(3)) + unit : "";
      const kind = document.getElementById(id(field.path, "kind"));
      const size = document.getElementById(id(field.path, "size"));
      kind.value = field.spread ? field.spread.distribution : "exact";
      if (document.activeElement !== size) size.value = field.spread ? field.spread.half_width ?? field.spread.standard_uncertainty ?? "" : "";
    }

    function show(groups) {
      const now = JSON.stringify(groups.map((each) => [each.path, each.example, each.removable, each.kind && each.kind.now, each.fields.map((f) => [f.path, f.options])]));
      known = Object.fromEntries(groups.flatMap((each) => each.fields).map((field) => [field.path, field]));
      if (now !== shape) build(groups);
      shape = now;
      clear();
      for (const path in known) fill(known[path]);
    }

    function clear() {
      for (const node of place.querySelectorAll(".refusal")) { node.hidden = true; node.textContent = ""; }
      for (const node of place.querySelectorAll("[aria-invalid]")) node.removeAttribute("aria-invalid");
    }

    // shows the sentence at the field of the path, or of one that was touched; false where there is neither
    function refuse(sentence, ...paths) {
      clear();
      for (const path of paths) {
        const note = path ? document.getElementById(id(path, "refused")) : null;
        if (!note) continue;
        note.textContent = sentence;
        note.hidden = false;
        const box = document.getElementById(id(path, "type"));
        box.setAttribute("aria-invalid", "true");
        const details = note.closest("details");
        if (details) details.open = true;
        return true;
      }
      return false;
    }

    // puts the values of the last good state back, but for what was typed and refused
    function restore(but) {
      for (const path in known) if (path !== but) fill(known[path]);
    }

    function mark(paths) {
      for (const node of place.querySelectorAll(".knob")) {
        node.classList.toggle("cure", paths.includes(node.dataset.path));
      }
    }

    // the first knob of these paths
    const knobOf = (paths) => paths.map((path) => document.getElementById(id(path, "type"))).find((box) => box);

    // brings it into view and gives it the focus
    function reveal(paths) {
      const box = knobOf(paths);
      const details = box.closest("details");
      if (details) details.open = true;
      box.closest(".knob").scrollIntoView({ block: "center" });
      box.focus({ preventScroll: true });
    }

    return { show, refuse, restore, mark, knobOf, reveal, field: (path) => known[path] };
  }

  Object.assign(gatesim, { element, knobs, niceStep, rounded, written });
})();
