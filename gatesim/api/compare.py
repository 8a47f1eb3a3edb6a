"""Several set-ups side by side: what each reads, how far off, and how surely."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from gatesim.api.predict import Prediction, predict
from gatesim.api.result import PicturedLengths, at_work
from gatesim.api.study import Study, judged
from gatesim.ground.errors import InputError
from gatesim.prediction.predict import Reading
from gatesim.scenario import Scenario
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.result import FormulaResult
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import place

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FEWEST, MOST = 2, 6
TRIALS = 4096


@dataclass(frozen=True)
class SetUp:
    """One of the rigs: its nominal passage, a study of it, and what it costs (NaN where nobody said).

    Figures are of ``formula``; lengths in m, errors are reading minus true length.
    """

    scenario: Scenario
    prediction: Prediction
    study: Study
    cost: float

    KEYS: ClassVar = {
        "name": "scenario",
        "file": "file",
        "formula": "formula",
        "true_length": "true_length",
        "outcome": "outcome",
        "reading": "reading",
        "error": "error_of_nominal_part",
        "bias": "bias",
        "uncertainty": "standard_uncertainty",
        "interval": "interval_95_percent",
        "yielded": "yield",
        "allowed": "allowed_error",
        "within": "share_within_allowed_error",
        "met": "requirement_met",
        "cost": "cost",
        "formulas": "formulas",
        "explanation": "explanation",
        "scenario": None,
        "prediction": None,
        "study": None,
    }

    @property
    def name(self) -> str:
        """Title of the scenario, else its file."""
        return self.prediction.scenario

    @property
    def file(self) -> str:
        """File of the scenario."""
        return self.prediction.file

    @property
    def formula(self) -> str:
        """The formula compared."""
        return self.study.formula

    @property
    def true_length(self) -> float:
        """Length of the nominal part."""
        return self.prediction.true_length_m

    @property
    def outcome(self) -> str:
        """What became of the nominal part."""
        return self.prediction.outcome

    @property
    def explanation(self) -> str:
        """Why it reads what it reads."""
        return self.prediction.explanation

    @property
    def _nominal(self) -> Reading:
        return self.prediction.reading(self.formula)

    @property
    def reading(self) -> float | None:
        """Reading of the nominal part; None where there is none."""
        return self._nominal.length_m

    @property
    def error(self) -> float | None:
        """Error of the nominal reading."""
        return self._nominal.error_m

    @property
    def figures(self) -> FormulaResult:
        """All figures of the formula in the study."""
        return self.study.figures

    @property
    def bias(self) -> float:
        """Mean error of the readings; NaN where nothing is read."""
        return self.study.bias

    @property
    def uncertainty(self) -> float:
        """Standard uncertainty of a reading."""
        return self.study.uncertainty

    @property
    def interval(self) -> tuple[float, float]:
        """Ends of the symmetric 95 % coverage interval of the error."""
        return self.study.low, self.study.high

    @property
    def yielded(self) -> float:
        """Share of parts that the formula reads while nothing goes wrong."""
        return self.figures.good.share

    @property
    def allowed(self) -> float:
        """Error that the scenario's requirement allows to the nominal part; NaN where none is stated."""
        return self.scenario.requirement.allowed(self.true_length)

    @property
    def within(self) -> float:
        """Share of parts that are read with no more error than allowed; NaN where nothing is required."""
        if math.isnan(self.allowed):
            return math.nan
        if not self.figures.readings:
            return 0.0
        inside = self.figures.curve.counts(np.array([-self.allowed, self.allowed]))
        return float(inside[0]) / self.study.trials

    @property
    def met(self) -> bool | None:
        """Whether the requirement is met at the worst of its lengths; None where nothing is required."""
        found = self.study.requirement.get(self.formula)
        return None if found is None else found.met

    @property
    def formulas(self) -> Mapping[str, Mapping[str, float]]:
        """Bias, standard uncertainty and 95 % interval of every formula of the rig."""
        return {
            name: {
                "bias": f.bias.value,
                "standard_uncertainty": f.uncertainty.value,
                "low": f.low.value,
                "high": f.high.value,
            }
            for name, f in self.study.formulas.items()
        }


@dataclass(frozen=True, repr=False)
class Comparison(PicturedLengths):
    """Set-ups in the order given; each study has so many Sobol points."""

    setups: tuple[SetUp, ...]
    trials: int
    seed: int

    KEYS: ClassVar = {"trials": "trials", "seed": "seed", "setups": "setups"}

    def text(self, unit: str | None = None) -> str:
        """One row a set-up, and why each reads what it reads."""
        from gatesim.view.comparisontext import comparison_text
        from gatesim.view.lengthunit import unit_of

        return comparison_text(self.setups, self.setups[0].study.trials, self.seed, unit_of(unit))

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """Speed over path, error by formula and distribution of the error, a column a set-up.

        ``ax`` gives its place in a figure of one's own. Returns the Axes at the top left.
        """
        from gatesim.view.comparisonchart import comparison_chart
        from gatesim.view.lengthunit import unit_of

        top: Axes = comparison_chart(self.setups, unit_of(unit), ax)[0, 0]
        return top


def compare(
    *scenarios: Scenario,
    formula: str | None = None,
    cost: Sequence[float] = (),
    trials: int = TRIALS,
    seed: int = 1,
    workers: int | None = None,
) -> Comparison:
    """Predict and study two to six set-ups, each with the same number of scrambled Sobol points.

    ``formula``: left out, each scenario's own in charge. ``cost``: one number a set-up, in any
    unit, shown beside the figures. Raises InputError; KeyboardInterrupt if it is stopped.
    """
    if not FEWEST <= len(scenarios) <= MOST:
        raise InputError(f"compare: given {len(scenarios)} set-ups, expected {FEWEST} to {MOST}")
    if cost and len(cost) != len(scenarios):
        raise InputError(f"--cost: given {len(cost)} for {len(scenarios)} set-ups, expected one for each")
    plan = Plan(trials, seed, quasi=True)
    found = []
    with at_work("comparing"), place(None, workers, len(scenarios) * plan.blocks) as (executor, _):
        for scenario, price in zip(scenarios, cost or [math.nan] * len(scenarios), strict=True):
            rig = RigModel(scenario)
            chosen = rig.choose_formula(formula)
            simulated = study(rig, plan, executor)
            if chosen not in simulated.formulas:  # stopped within the first block
                raise KeyboardInterrupt
            told = judged(rig, simulated, chosen, executor)
            found.append(SetUp(scenario, predict(scenario), told, price))
    return Comparison(tuple(found), plan.block * plan.blocks, seed)
