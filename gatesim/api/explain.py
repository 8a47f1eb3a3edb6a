"""Why a reading is off, and what would change it."""

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar

from gatesim.api.result import PicturedLengths, at_work
from gatesim.chain.nominal import nominal_passage
from gatesim.explanation import Breakdown, breakdown
from gatesim.explanation.ahead import looking_ahead
from gatesim.explanation.remedy import Remedies, remedies
from gatesim.explanation.sentences import Facts, advice, cause, facts, headline
from gatesim.prediction.devices import Device, devices, listed
from gatesim.scenario import Scenario
from gatesim.studies.best import Best, best_of_all

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Explanation(PicturedLengths, Breakdown):
    """The split of the error among its causes, every change that was tried, and the best formula."""

    facts: Facts
    remedies: Remedies
    devices: tuple[Device, ...]
    best: Best

    KEYS: ClassVar = {
        "scenario": "scenario",
        "file": "file",
        "formula": "formula",
        "true_length": "true_length_m",
        "reading": "reading_m",
        "error": "error_m",
        "shares": "parts",
        "rest": "rest_m",
        "headline": "headline",
        "reason": "reason",
        "facts": None,
        "devices": None,
        "remedies": "",
        "advice": "advice",
        "best": "best",
        "along": "",
    }
    UNITS: ClassVar = {"true_length": "m", "reading": "m", "error": "m", "rest": "m"}

    @property
    def scenario(self) -> str:
        """Title of the scenario, else its file."""
        return self.facts.scenario.title or self.file

    @property
    def file(self) -> str:
        """File of the scenario."""
        return self.facts.scenario.file

    @property
    def headline(self) -> str:
        """What is read, and how far off."""
        return headline(self)

    @property
    def reason(self) -> str:
        """The biggest share, and why it is there."""
        return cause(self, self.facts)

    @property
    def advice(self) -> str:
        """What to change."""
        return advice(self.remedies)

    @property
    def along(self) -> dict[str, dict[str, Any]]:
        """Figures and limits of each device along the path and where it acts, by its key."""
        found = listed(self.devices)
        return {device.key: {**found[device.key], "limits": device.limits} for device in self.devices}

    def text(self, unit: str | None = None) -> str:
        """Headline, the split, the reason, devices along the path, what was tried."""
        from gatesim.view.explaintext import explain_text
        from gatesim.view.lengthunit import unit_of

        told = self.best.sentences
        return explain_text(self, self.facts, self.remedies, self.devices, told, unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """The split as a waterfall."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.waterfall import waterfall

        return waterfall(self, ax, unit_of(unit))


@at_work("explaining")
def explain(scenario: Scenario, *, formula: str | None = None) -> Explanation:
    """Split the error of the nominal reading among its causes, and try every change that applies.

    The parts add up to the error (Shapley values); each change is run through the whole chain,
    the cheapest first. Raises InputError where there is no reading to explain.
    """
    move = looking_ahead(scenario)
    found = breakdown(scenario, formula, move=move)
    tried = remedies(scenario, found.formula, move=move)
    passed = nominal_passage(scenario, move)
    about, along = facts(scenario, passed), devices(scenario, passed, move)
    best = best_of_all(scenario, move=move)
    return Explanation.of(found, facts=about, remedies=tried, devices=along, best=best)
