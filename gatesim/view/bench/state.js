"use strict";
var gatesim = gatesim || {};
// The scenario's table, the patches that led to it, and the questions put to the server.
(function () {
  const has = (table, key) => Object.prototype.hasOwnProperty.call(table, key);
  const steps = (path) => path.split(".");
  const inside = (table, key) => (Array.isArray(table) ? table[Number(key) - 1] : has(table, key) ? table[key] : undefined);

  // what stands at a dotted path; members of lists are numbered from 1
  function valueAt(table, path) {
    let at = table;
    for (const key of steps(path)) {
      if (at === null || typeof at !== "object") return undefined;
      at = inside(at, key);
    }
    return at;
  }

  // a copy with another value at the path; undefined leaves the key out
  function put(table, path, value) {
    const [key, ...rest] = steps(path);
    const copy = Array.isArray(table) ? [...table] : { ...table };
    const place = Array.isArray(table) ? Number(key) - 1 : key;
    if (rest.length) copy[place] = put(copy[place], rest.join("."), value);
    else if (value === undefined) delete copy[place];
    else copy[place] = value;
    return copy;
  }

  // one small step {path, before, after}; tables that are missing on the way are part of it
  function step(table, path, value) {
    const keys = steps(path);
    for (let depth = 1; depth < keys.length; depth++) {
      if (valueAt(table, keys.slice(0, depth).join(".")) !== undefined) continue;
      const made = keys.slice(depth).reduceRight((inner, key) => ({ [key]: inner }), value);
      return { path: keys.slice(0, depth).join("."), before: undefined, after: value === undefined ? undefined : made };
    }
    const before = valueAt(table, path);
    // {exact: value} takes a spread away, a plain value keeps it
    if (value !== null && typeof value === "object" && has(value, "exact")) return { path, before, after: value.exact };
    const spreads = before !== null && typeof before === "object" && has(before, "distribution");
    const keeps = spreads && (value === null || typeof value !== "object") && value !== undefined;
    return { path, before, after: keeps ? { ...before, value } : value };
  }

  // changes: {path: value}, null leaves the key out
  function patch(table, changes, label) {
    const made = [];
    let now = table;
    for (const path in changes) {
      const one = step(now, path, changes[path] === null ? undefined : changes[path]);
      if (one.before === undefined && one.after === undefined) continue;
      now = put(now, one.path, one.after);
      made.push(one);
    }
    return { label, steps: made };
  }

  const applied = (table, made) => made.steps.reduce((now, one) => put(now, one.path, one.after), table);
  const reverted = (table, made) => [...made.steps].reverse().reduce((now, one) => put(now, one.path, one.before), table);

  // paths of the quantities that a patch sets, those of whole tables it adds among them
  function leaves(patch, before = "") {
    return Object.entries(patch).flatMap(([key, value]) =>
      value !== null && typeof value === "object" && !Array.isArray(value) && !("distribution" in value) ? leaves(value, before + key + ".") : [before + key]);
  }

  // what is so: a table, the patches done and those undone; every change gives a new one
  function begin(table) {
    return { table, done: [], undone: [] };
  }

  // gesture: changes of one gesture, such as a drag, are one patch
  function changed(state, changes, label, gesture) {
    const last = state.done[state.done.length - 1];
    const goesOn = gesture !== undefined && last && last.gesture === gesture;
    const base = goesOn ? reverted(state.table, last) : state.table;
    const done = goesOn ? state.done.slice(0, -1) : state.done;
    const made = { ...patch(base, changes, label), gesture };
    return { table: applied(base, made), done: [...done, made], undone: [] };
  }

  function undo(state) {
    if (!state.done.length) return state;
    const last = state.done[state.done.length - 1];
    return { table: reverted(state.table, last), done: state.done.slice(0, -1), undone: [...state.undone, last] };
  }

  function redo(state) {
    if (!state.undone.length) return state;
    const last = state.undone[state.undone.length - 1];
    return { table: applied(state.table, last), done: [...state.done, last], undone: state.undone.slice(0, -1) };
  }

  const quoted = (text) => "'" + text.replace(/'/g, "'\\''") + "'";

  // what was changed, as options of the command line
  function settings(state) {
    const paths = new Set(state.done.flatMap((made) => made.steps.map((one) => one.path)));
    return [...paths].map((path) => {
      const value = valueAt(state.table, path);
      return "--set " + quoted(path + "=" + (value === undefined ? "" : typeof value === "string" ? value : JSON.stringify(value)));
    });
  }

  async function post(address, content) {
    return fetch(address, {
      method: "POST", body: JSON.stringify(content), headers: { "Content-Type": "application/json" },
    });
  }

  async function* linesOf(response) {
    const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
    let rest = "";
    for (;;) {
      const { value, done } = await reader.read();
      if (done) return;
      const lines = (rest + value).split("\n");
      rest = lines.pop();
      for (const line of lines) yield JSON.parse(line);
    }
  }

  // Asks for the answers to a state, the newest only: while a reading is awaited changes gather, and an
  // answer to any number but the last is not told. tell: function of (answer, state); lost: of nothing.
  function asker(tell, lost) {
    const page = Math.random().toString(36).slice(2) + Date.now().toString(36);
    let number = 0;
    let awaited = false;
    let next = null;

    async function send(state) {
      const mine = ++number;
      awaited = true;
      try {
        const response = await post("answers", { page, number: mine, table: state.table });
        for await (const answer of linesOf(response)) {
          if (mine !== number || answer.number !== mine) return;
          const first = awaited;
          awaited = false;
          tell(answer, state);
          if (first && next) return ask(next);
        }
      } catch (problem) {
        if (mine === number) lost(problem);
      } finally {
        if (mine === number) awaited = false;
      }
    }

    function ask(state) {
      next = awaited ? state : null;
      if (!awaited) send(state);
    }

    return { ask };
  }

  Object.assign(gatesim, { valueAt, begin, changed, leaves, undo, redo, quoted, settings, post, asker });
})();
