"""Several set-ups side by side: what each reads, how far off, and how surely."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.predict import predict
from gatesim.api.result import PicturedLengths, at_work
from gatesim.api.study import judged
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import place
from gatesim.view.setup import SetUp

if TYPE_CHECKING:
    from matplotlib.axes import Axes

FEWEST, MOST = 2, 6
TRIALS = 4096


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
            found.append(
                SetUp(scenario, predict(scenario), told, chosen, told.requirement.get(chosen), price)
            )
    return Comparison(tuple(found), plan.block * plan.blocks, seed)
