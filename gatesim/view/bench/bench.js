"use strict";
(function () {
  const {
    begin, changed, leaves, undo, redo, quoted, settings, post, asker, element, knobs, hands, player, drawStage, drawKept, drawSignals, drawSpeed, tellNow,
    showReading, showFormulas, showWhy, showChanges, showStudy, offer, MS, LENGTH,
  } = gatesim;
  const byId = (id) => document.getElementById(id);
  const ALIVE = 20000; // ms between signs of life
  const TALLEST = 0.42; // of the window: the rig is seen whole, with the reading above it and the slider below
  const RIM = 20; // px above and below the rig for grips that give way to one another
  const bench = (gatesim.bench = { state: null, good: null, shown: {}, kept: null, file: null, name: "", saved: null, latency: {} });
  let touched = [];
  let pending = false; // whether answers to the last good state are still to come
  let passageShown = { index: 0, updates: [] };

  const say = (text) => { byId("status").textContent = text; };
  const stale = (...names) => {
    for (const section of document.querySelectorAll("[data-answer]")) {
      if (names.includes(section.dataset.answer)) section.dataset.stale = "";
    }
  };
  const fresh = (name) => {
    for (const section of document.querySelectorAll('[data-answer="' + name + '"]')) delete section.dataset.stale;
  };

  function propose(state, paths) {
    touched = paths;
    bench.state = state;
    bench.latency = { touched: performance.now() };
    question.ask(state);
  }

  // a part that is made longer takes the limits of its length along
  function withLimits(changes) {
    const path = "part.length";
    const length = panel.field(path);
    const number = /^([-+.\de]+) (\S+)$/i.exec(String(changes[path]));
    if (!number || !length || number[2] !== length.unit) return changes;
    const shift = Number(number[1]) * length.factor - length.value;
    const found = { ...changes };
    for (const key of ["requirement.lower_limit", "requirement.upper_limit", "requirement.shortest", "requirement.longest"]) {
      const limit = panel.field(key);
      if (!limit || limit.value === null) continue;
      found[key] = Number(((limit.value + shift) / limit.factor).toPrecision(10)) + " " + limit.unit;
    }
    return found;
  }

  // every formula that the rig has is a choice for the one in charge
  function withCharge(answer) {
    const options = answer.prediction.readings.map((reading) => reading.formula);
    const about = "Formula whose reading counts; the others are shown beside it.";
    const field = { path: "formula.use", name: "formula in charge", type: "choice", about, value: options[0], options };
    return answer.groups.map((group) => (group.path === "formula" ? { ...group, fields: [field, ...group.fields], given: true } : group));
  }

  function edit(path, value, gesture) {
    if (path === "formula.use" && typeof value === "string") return charge(value);
    change({ [path]: value }, path, gesture);
  }

  function change(changes, label, gesture) {
    const all = gesture !== undefined && "part.length" in changes ? withLimits(changes) : changes;
    propose(changed(bench.state, all, label, gesture), Object.keys(all));
  }

  function charge(formula) {
    const all = bench.shown.reading.prediction.readings.map((reading) => reading.formula);
    edit("formula.use", [formula, ...all.filter((name) => name !== formula)]);
  }

  function attempt(row) {
    change(row.patch, row.title);
    say("Tried: " + row.title + ". Undo takes it back.");
    byId("band").scrollIntoView({ block: "nearest" });
  }

  const panel = knobs(byId("groups"), edit);
  const grips = hands(panel.field, change);
  Object.assign(bench, { edit, field: panel.field, settled: () => bench.state === bench.good });

  const tell = {
    refused(answer) {
      bench.state = bench.good;
      const typed = document.activeElement && document.activeElement.type === "text" ? touched[0] : undefined;
      panel.restore(typed);
      const there = panel.refuse(answer.sentence, answer.path, ...touched);
      byId("refusal").hidden = there;
      byId("refusal").textContent = there ? "" : answer.sentence;
      say("Refused; the last good state stays.");
      tools();
      if (pending) question.ask(bench.good); // what was still to come was dropped with it
    },
    reading(answer, state) {
      pending = true;
      if (state === bench.good) return; // asked once more
      bench.good = state;
      bench.shown = { ...bench.shown, reading: answer };
      byId("refusal").hidden = true;
      if (byId("status").textContent.startsWith("Refused")) say("");
      byId("title").textContent = answer.title || "Untitled rig";
      stale("why", "changes", "distribution", "passage");
      panel.show(withCharge(answer));
      showReading(answer, bench.kept);
      showFormulas(answer, bench.kept, charge);
      if (bench.shown.passage) drawRig();
      tools();
    },
    passage(answer) {
      if (answer.missing) return;
      bench.shown.passage = answer;
      fresh("passage");
      const scrub = byId("scrub");
      const share = scrub.dataset.used ? Number(scrub.value) / Number(scrub.max) : answer.start / (answer.time.length - 1);
      scrub.max = answer.time.length - 1;
      passageShown.index = Math.round(share * (answer.time.length - 1));
      drawPassage();
    },
    along(answer) {
      if (!answer.missing) Object.assign(bench.shown.reading.prediction, answer.figures);
    },
    why(answer) {
      bench.shown.why = answer;
      fresh("why");
      showWhy(answer, bench.kept);
    },
    distribution(answer) {
      bench.shown.distribution = answer;
      fresh("distribution");
      drawStudy();
      byId("spoken").textContent = byId("verdict").textContent; // to be read out once the hand rests
    },
    changes(answer) {
      pending = false;
      bench.shown.changes = answer;
      fresh("changes");
      const cheapest = (answer.rows || []).find((row) => row.cheapest);
      const cures = cheapest ? leaves(cheapest.patch) : [];
      panel.mark(cures);
      showChanges(answer, attempt, panel.knobOf(cures) ? () => panel.reveal(cures) : null);
    },
  };

  const question = asker((answer, state) => {
    tell[answer.name](answer, state);
    if (!(answer.name in bench.latency)) bench.latency[answer.name] = performance.now() - bench.latency.touched;
    byId("main").dataset.answered = Object.keys(bench.latency).join(" ");
  }, () => {
    byId("ended").hidden = false;
    byId("ended").textContent = "The bench does not answer: it was ended where it was started. Start it again with gatesim bench.";
  });

  const charged = () => bench.shown.reading.prediction.readings[0].formula;
  let widths = {}; // px, kept: to ask again while answers are written makes the browser lay out all of the page
  const widthOf = (id) => (widths[id] ??= Math.max(260, Math.floor(byId(id).clientWidth)));

  function drawStudy() {
    if (bench.shown.distribution) showStudy(bench.shown.distribution, charged(), bench.kept, widthOf("histogram"));
  }

  // what is drawn of the rig kept as A
  const keptPassage = () => (bench.kept && bench.kept.passage ? { ...bench.kept.passage, rig: bench.kept.reading.rig } : null);

  // the rig as it is now, with the passage that was computed last
  function drawRig() {
    const { reading, passage } = bench.shown;
    const rig = reading.rig;
    const gates = passage.gates.map((gate, k) => ({ ...gate, position: rig.gates[k] ?? gate.position })).slice(0, rig.gates.length);
    const data = { ...passage, rig, gates };
    const updates = [];
    const focus = grips.focused();
    const kept = keptPassage();
    const stage = drawStage(byId("stage"), data, widthOf("stage"), updates, { held: grips.frame(), kept: kept && kept.rig, tallest: Math.max(220, TALLEST * window.innerHeight), rim: RIM });
    const after = [];
    const letters = kept ? drawKept(stage, kept, after) : [];
    grips.put(stage, reading.handles, data, updates, drawRig, focus, letters);
    updates.push(...after);
    passageShown.stage = updates;
    show(passageShown.index);
  }

  function drawPassage() {
    const data = bench.shown.passage;
    const rest = [];
    drawSignals(byId("signals"), data, widthOf("signals"), rest, keptPassage());
    const legend = data.as_area ? byId("speed-legend") : null;
    byId("h-speed").textContent = legend ? "Speed: the length as an area" : "Speed on the way";
    if (!legend) byId("speed-legend").replaceChildren();
    drawSpeed(byId("speed"), legend, data, widthOf("speed"), rest, keptPassage());
    passageShown.rest = rest;
    drawRig();
  }

  function show(index) {
    const data = bench.shown.passage;
    if (!data) return;
    passageShown.index = index;
    const t = data.time[index];
    const text = (MS * t).toFixed(1) + " ms";
    byId("scrub").value = index;
    byId("scrub").setAttribute("aria-valuetext", text + ", count " + data.count[index]);
    byId("clock").textContent = text;
    for (const update of [...(passageShown.stage || []), ...(passageShown.rest || [])]) update(t, index);
    tellNow(byId("now"), byId("registers"), data, t, index);
  }

  player(byId("scrub"), byId("play"), () => MS * bench.shown.passage.end * Number(byId("pace").value), (index) => {
    byId("scrub").dataset.used = "yes";
    show(index);
  });

  const dirty = () => bench.state && JSON.stringify(bench.state.table) !== JSON.stringify(bench.saved);

  function tools() {
    byId("undo").disabled = !bench.state.done.length;
    byId("redo").disabled = !bench.state.undone.length;
    const label = (list, word) => (list.length ? word + " " + list[list.length - 1].label : word);
    byId("undo").title = label(bench.state.done, "Undo");
    byId("redo").title = label(bench.state.undone, "Redo");
    byId("save").disabled = bench.file === null || !dirty();
    byId("file").textContent = (bench.file === null ? "New rig, not saved" : bench.name + (dirty() ? ", changed" : "")) + (bench.kept ? ". A is kept; what you see is B." : "");
    byId("report-table").value = JSON.stringify(bench.good.table);
  }

  function again() {
    showReading(bench.shown.reading, bench.kept);
    showFormulas(bench.shown.reading, bench.kept, charge);
    if (bench.shown.why) showWhy(bench.shown.why, bench.kept);
    if (bench.shown.passage) drawPassage();
    drawStudy();
    tools();
  }

  byId("undo").addEventListener("click", () => propose(undo(bench.state), []));
  byId("redo").addEventListener("click", () => propose(redo(bench.state), []));
  byId("pin").addEventListener("click", () => {
    bench.kept = bench.kept ? null : { ...bench.shown, table: bench.good.table };
    byId("pin").setAttribute("aria-pressed", String(Boolean(bench.kept)));
    byId("pin").textContent = bench.kept ? "Let go of A" : "Keep as A";
    byId("kept-legend").hidden = !bench.kept;
    again();
  });
  window.addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.altKey || event.key.toLowerCase() !== "z") return;
    if (event.target.type === "text" && event.target.value !== event.target.dataset.shown) return; // its own undo
    event.preventDefault();
    byId(event.shiftKey ? "redo" : "undo").click();
  });

  async function save(name) {
    const { table } = bench.good;
    const response = await post("save", { table, name });
    const told = await response.json();
    if (!response.ok) return say("Not saved: " + told.sentence);
    Object.assign(bench, { file: told.file, name: told.name, saved: table });
    say("Saved as " + told.name + ".");
    tools();
  }
  byId("save").addEventListener("click", () => save(null));
  byId("save-as").addEventListener("submit", (event) => {
    event.preventDefault();
    save(byId("new-name").value.trim());
  });

  const command = () =>
    ["gatesim bench", ...(bench.file === null ? [] : [quoted(bench.name)]), ...(LENGTH === "mm" ? [] : ["--unit " + LENGTH]), ...settings(bench.good)].join(" ");
  bench.command = command;
  byId("copy").addEventListener("click", async () => {
    const text = command();
    try {
      await navigator.clipboard.writeText(text);
      say("Copied: " + text);
    } catch {
      say("To copy: " + text);
    }
  });

  async function open(starter) {
    const told = await (await post("rig", starter ? { starter } : {})).json();
    if (told.table === null) {
      byId("choice").hidden = false;
      offer(byId("starters"), told.starters, open);
      return;
    }
    byId("choice").hidden = true;
    byId("main").hidden = false;
    byId("tools").hidden = false;
    Object.assign(bench, { file: told.file, name: told.name, saved: told.table });
    propose(begin(told.table), []);
    if (told.changes) change(told.changes, "as asked for");
  }

  let drawn = 0;
  new ResizeObserver(() => {
    widths = {};
    const width = widthOf("stage");
    if (width === drawn || !bench.shown.passage) return;
    drawn = width;
    again();
  }).observe(byId("stage"));
  setInterval(() => post("here", {}).catch(() => {}), ALIVE);
  open();
})();
