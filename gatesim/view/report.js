"use strict";
(function () {
  const { MS, drawStage, drawSignals, drawPosition, drawSpeed, drawHistogram, tellNow, player } = gatesim;
  const data = JSON.parse(document.getElementById("data").textContent);
  const byId = (id) => document.getElementById(id);
  const shown = { index: data.start, updates: [] };

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
    tellNow(byId("now"), byId("registers"), data, t, index);
  }

  function render(width) {
    shown.updates = [];
    drawStage(stage, data, width, shown.updates);
    drawSignals(byId("signals"), data, width, shown.updates);
    drawPosition(byId("position"), data, width, shown.updates);
    drawSpeed(byId("speed"), byId("speed-legend"), data, width, shown.updates);
    if (data.histogram && byId("histogram")) drawHistogram(byId("histogram"), data.histogram, width);
    show(shown.index);
  }

  player(scrub, byId("play"), () => 6000, show);

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
