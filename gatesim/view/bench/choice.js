"use strict";
var gatesim = gatesim || {};
// Rigs to begin with, each drawn to scale.
(function () {
  const { element, drawStage } = gatesim;
  const WIDTH = 300;
  const TALLEST = 220;

  // starters: name, title and rig of each; open: function of a name
  function offer(place, starters, open) {
    place.replaceChildren(...starters.map((each) => {
      const picture = element("span", { class: "sketch", "aria-hidden": "true" });
      const updates = [];
      const gates = each.rig.gates.map((position) => ({ position, time: [], blocked: [] }));
      drawStage(picture, { rig: each.rig, gates, parts: [{ position: [0] }] }, WIDTH, updates, { tallest: TALLEST });
      for (const update of updates) update(0, 0);
      return element("li", {},
        element("button", { type: "button", class: "starter", "data-starter": each.name, onclick: () => open(each.name) },
          element("span", { class: "starter-title" }, each.title), picture));
    }));
  }

  Object.assign(gatesim, { offer });
})();
