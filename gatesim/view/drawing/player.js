"use strict";
var gatesim = gatesim || {};
// A slider over the moments of a passage, and a button that runs it.
(function () {
  // length: milliseconds that the whole takes on the screen; show: function of the index
  function player(scrub, button, length, show) {
    let running = null;

    function stop() {
      if (running !== null) cancelAnimationFrame(running);
      running = null;
      button.textContent = "Play";
    }

    function start() {
      const last = Number(scrub.max);
      const begun = performance.now();
      const first = Number(scrub.value) >= last ? 0 : Number(scrub.value);
      const whole = length();
      const step = (now) => {
        // the first frame may be stamped a little before it was asked for
        const index = Math.min(last, first + Math.floor((Math.max(0, now - begun) / whole) * last));
        show(index);
        if (index < last) running = requestAnimationFrame(step);
        else stop();
      };
      button.textContent = "Pause";
      running = requestAnimationFrame(step);
    }

    button.addEventListener("click", () => (running === null ? start() : stop()));
    scrub.addEventListener("input", () => {
      stop();
      show(Number(scrub.value));
    });
    return { stop };
  }

  Object.assign(gatesim, { player });
})();
