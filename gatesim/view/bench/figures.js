"use strict";
var gatesim = gatesim || {};
// What the server answered, in words and figures; with a rig kept as A, beside it.
(function () {
  const { MM, LENGTH, lengthDigits, element, drawHistogram } = gatesim;
  const byId = (id) => document.getElementById(id);
  const minus = (text) => text.replace("-", "−");
  const known = (value) => value !== null && value !== undefined;
  // lengths in m, as digits in the page's unit
  const digits = (value, places = 3) => (known(value) ? lengthDigits(value, places) : "none");
  const signed = (value, places = 3) => (known(value) ? minus((value >= 0 ? "+" : "") + lengthDigits(value, places)) : "none");
  const difference = (now, then) => (known(now) && known(then) ? signed(now - then) : "");

  function off(error) {
    if (!known(error)) return "No reading";
    if (Math.abs(error) < 0.5e-6) return "Right to " + Number((1e-6 * MM).toPrecision(1)) + " " + LENGTH;
    return "Reads " + digits(Math.abs(error)) + " " + LENGTH + " " + (error < 0 ? "short" : "long");
  }

  function pair(name, value, ...beside) {
    return element("div", {}, element("dt", {}, name), element("dd", {}, value, ...beside));
  }

  // A and the difference, where a rig is kept
  function against(now, then, show) {
    return [element("span", { class: "kept" }, "A " + show(then)), element("span", { class: "kept" }, "B − A " + (difference(now, then) || "none"))];
  }

  function showReading(answer, kept) {
    const told = answer.prediction;
    const first = told.readings[0];
    const beside = (figure, show) => (kept ? against(figure(told), figure(kept.reading.prediction), show) : []);
    byId("large").replaceChildren(
      element("div", { class: "headline" }, element("dt", { class: "hidden" }, "In short"), element("dd", { id: "verdict" }, off(first.error_m))),
      pair("reading / " + LENGTH, element("output", { id: "reading" }, digits(first.length_m)), ...beside((told) => told.readings[0].length_m, digits)),
      pair("error / " + LENGTH, element("output", { id: "error" }, signed(first.error_m)), ...beside((told) => told.readings[0].error_m, signed)),
      pair("true length / " + LENGTH, digits(told.true_length_m), ...beside((told) => told.true_length_m, digits)),
    );
    const measured = told.outcome === "measured";
    byId("explanation").textContent = (measured ? "" : told.outcome[0].toUpperCase() + told.outcome.slice(1) + ". ") + answer.said.explanation;
    byId("explanation").classList.toggle("warn", !measured);
    document.title = off(first.error_m) + " · " + (answer.title || "gatesim bench");
  }

  function showFormulas(answer, kept, charge) {
    const told = answer.prediction.readings;
    const then = kept ? Object.fromEntries(kept.reading.prediction.readings.map((r) => [r.formula, r])) : null;
    const heads = ["formula", "reading / " + LENGTH, "error / " + LENGTH, ...(then ? ["A: error / " + LENGTH, "B − A / " + LENGTH] : []), ""];
    byId("formulas").tHead.replaceChildren(element("tr", {}, ...heads.map((head, k) => element("th", { scope: "col", class: k && head ? "num" : "" }, head || element("span", { class: "hidden" }, "choice")))));
    byId("formulas").tBodies[0].replaceChildren(...told.map((reading, k) => {
      const old = then ? then[reading.formula] : null;
      const button = k === 0
        ? element("span", { class: "tag" }, "in charge")
        : element("button", { type: "button", class: "plain-button", "data-charge": reading.formula, onclick: () => charge(reading.formula) }, "put in charge");
      return element("tr", {},
        element("th", { scope: "row" }, reading.formula, element("span", { class: "how" }, reading.reason ? "none: " + answer.said.reasons[reading.formula] : answer.equations[reading.formula])),
        ...[digits(reading.length_m), signed(reading.error_m), ...(then ? [old ? signed(old.error_m) : "", old ? difference(reading.error_m, old.error_m) : ""] : [])]
          .map((text, column) => element("td", { class: "num", "data-label": heads[column + 1] }, text)),
        element("td", {}, button));
    }));
    const counts = answer.prediction.counts;
    const before = kept ? kept.reading.prediction.counts : null;
    byId("counts").replaceChildren(...Object.keys(counts).map((name) => pair("count: " + name.replace(/_/g, " "), known(counts[name]) ? String(counts[name]) : "none",
      ...(before ? [element("span", { class: "kept" }, "A " + (before[name] ?? "none"))] : []))));
  }

  function showWhy(answer, kept) {
    byId("reason").textContent = answer.missing || answer.reason;
    const then = kept && kept.why ? Object.fromEntries((kept.why.bars || []).map((bar) => [bar.name, bar.error])) : null;
    byId("bars").hidden = !(answer.bars || []).length;
    byId("bars").tBodies[0].replaceChildren(...(answer.bars || []).map((bar) => {
      const fill = element("span", { class: "bar" });
      fill.style.left = bar.left + "%";
      fill.style.width = bar.width + "%";
      const zero = element("span", { class: "zero" });
      zero.style.left = bar.zero + "%";
      const old = then && then[bar.name] !== undefined ? [element("span", { class: "kept" }, "A " + then[bar.name])] : [];
      return element("tr", { class: bar.kind },
        element("th", { scope: "row" }, bar.name, ...(bar.chance ? [element("span", { class: "chance" }, bar.chance)] : [])),
        element("td", { class: "num" }, bar.error, ...old), element("td", { class: "track" }, zero, fill));
    }));
  }

  // what a change comes to: 95 % of the parts within so much, where that is known, and the nominal error
  const comesTo = (row) => (/\d/.test(row.reach) ? "95 % of the parts then within " + row.reach + " " + LENGTH + ", error " : "error then ") + row.error + (/\d/.test(row.error) ? " " + LENGTH : "");

  // attempt: function of a change; reveal: shows the knob of the cheapest, null where it has none
  function showChanges(answer, attempt, reveal) {
    byId("advice").textContent = answer.missing || answer.advice;
    byId("judged").replaceChildren(...(answer.required && /\d/.test(answer.now) ? [
      element("span", { class: answer.enough ? "tag" : "tag bad" }, answer.enough ? "good enough" : "not good enough"),
      " about 95 % of the parts are read within ", element("strong", {}, answer.now + " " + LENGTH), "; the scenario allows " + answer.required + ".",
    ] : []));
    const rows = (answer.rows || []).filter((row) => row.better);
    const cheapest = answer.enough ? undefined : rows.find((row) => row.cheapest);
    byId("cure").replaceChildren(...(cheapest ? [
      element("span", {}, element("strong", {}, "Cheapest cure: "), cheapest.title + "; " + comesTo(cheapest) + "."),
      element("span", { class: "pair-of-buttons" },
        element("button", { type: "button", class: "plain-button", "aria-label": "Try the cheapest cure: " + cheapest.title, onclick: () => attempt(cheapest) }, "Try it"),
        ...(reveal ? [element("button", { type: "button", class: "plain-button", id: "reveal", onclick: reveal }, "Show its knob")] : [])),
    ] : []));
    byId("changes").replaceChildren(...rows.slice(0, 8).map((row) =>
      element("li", { class: row.cheapest ? "cheapest" : "" },
        element("div", {}, element("strong", {}, row.title[0].toUpperCase() + row.title.slice(1)), " ",
          element("span", { class: "tag" }, row.enough ? "enough" : "better, not enough"), " ",
          element("span", { class: "small" }, row.takes + "; " + comesTo(row)),
          element("span", { class: "how" }, row.how)),
        element("button", { type: "button", "data-attempt": row.title, "aria-label": "Try it: " + row.title, onclick: () => attempt(row) }, "Try it"))));
  }

  // what a study makes of one formula by what the scenario requires; nothing where it requires nothing
  function judged(found) {
    if (!found || !known(found.reach)) return "";
    return " Bias and twice the standard uncertainty come to " + digits(found.reach) + " " + LENGTH + (found.met ? ", within the " : ", more than the ") + Number(digits(found.allowed, 4)) + " " + LENGTH + " that the scenario allows.";
  }

  function showStudy(answer, charge, kept, width) {
    if (answer.missing) {
      byId("study").textContent = answer.missing;
      byId("scatter").replaceChildren();
      byId("histogram").replaceChildren();
      return;
    }
    const found = answer.study.error[charge];
    const then = kept && kept.distribution && kept.distribution.study ? kept.distribution.study.error[charge] : undefined;
    byId("study").textContent = answer.study.trials + " simulated parts, formula " + charge + "." + judged((answer.study.requirement || {})[charge]);
    const value = (figure) => (figure ? figure.value : undefined);
    const rows = [
      ["bias", "bias", signed], ["standard uncertainty", "standard_uncertainty", digits], ["repeatability, passage to passage", "repeatability", digits],
      ["part to part", "part_to_part", digits], ["rig to rig", "rig_to_rig", digits],
    ];
    byId("scatter").replaceChildren(...rows.map(([name, key, show]) =>
      pair(name + " / " + LENGTH, show(value(found[key]), 4), ...(then ? against(value(found[key]), value(then[key]), (v) => show(v, 4)) : []))),
      pair("read, with nothing amiss", (100 * found.yield.share).toFixed(1) + " %"));
    const histogram = answer.histograms[charge];
    const before = kept && kept.distribution && kept.distribution.histograms ? kept.distribution.histograms[charge] : null;
    if (histogram) drawHistogram(byId("histogram"), histogram, width, before);
    else byId("histogram").replaceChildren();
    const swatch = (kind) => element("span", { class: "swatch " + kind });
    byId("histogram-legend").replaceChildren(swatch("line"), "mean ", swatch("dwell"), "95 % coverage interval ", ...(histogram && histogram.limits.length ? [swatch("dash"), "tolerance limits"] : []), ...(before ? [" ", swatch("kept-line"), "A"] : []));
  }

  Object.assign(gatesim, { showReading, showFormulas, showWhy, showChanges, showStudy });
})();
