"""Uncertainty budget with what proves it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from gatesim.api.result import WithLengths, at_work, watched
from gatesim.chain.reference import AS_USUAL
from gatesim.chain.remembered import Remembered
from gatesim.scenario import Scenario
from gatesim.studies import budget as budgeted
from gatesim.studies.budget import SIMULATED_TRIALS
from gatesim.studies.engine import study
from gatesim.studies.indices import SET, Indices, sobol_indices
from gatesim.studies.plan import Plan
from gatesim.studies.result import FormulaResult
from gatesim.studies.rig import RigModel
from gatesim.studies.validation import Validation, contradictions, validations

FIRST, MOST = 16_384, 65_536
"""Points of the study that nearly always tell what is asked of it; and if they do not."""

LEAST = 1000
FINEST = 4.0
"""As many times the usual trials the simulated rows and the indices take at most."""


@dataclass(frozen=True, repr=False)
class Budget(WithLengths, budgeted.Budget):
    """Linear budget of one formula, beside it a Monte Carlo study, whether they agree, Sobol indices.

    ``indices`` is None where nothing spreads; ``contradicted``: draws that the budget takes to be
    without influence and the indices do not; ``ended`` says why the study stopped.
    """

    monte_carlo: FormulaResult
    validation: Sequence[Validation]
    indices: Indices | None
    contradicted: Sequence[str]
    ended: str

    KEYS: ClassVar = {
        **budgeted.Budget.KEYS,
        "monte_carlo": "monte_carlo",
        "validation": "validation",
        "indices": "",
        "contradicted": "contradicted_by_sobol_indices",
        "ended": None,
    }
    UNITS: ClassVar = {"error": "m", "combined": "m", "expanded": "m"}

    def text(self, unit: str | None = None) -> str:
        """The table by level, its sum, the study beside it, whether they agree, Sobol indices."""
        from gatesim.view.budgettext import budget_text
        from gatesim.view.lengthunit import unit_of

        wanted = None if unit is None else unit_of(unit)
        return budget_text(self, self.monte_carlo, self.validation, self.indices, wanted)


def budget(
    scenario: Scenario,
    *,
    formula: str | None = None,
    coverage: float = 0.95,
    trials: int | None = None,
    seed: int = 1,
    workers: int | None = None,
) -> Budget:
    """What each quantity contributes to the error of the reading.

    Linear propagation (JCGM 100) by differentiating the chain with the counter left unrounded and
    every stage that samples at its mean delay;
    beside it a Monte Carlo study of so many ``trials`` on scrambled Sobol points, whether the two agree
    (JCGM 101, clause 8), and Sobol indices. The simulated rows of the budget and the indices take trials
    in proportion. Without ``trials`` 16,384 points, and 65,536 where these leave open whether the budget
    holds to one digit of u. Raises InputError; KeyboardInterrupt if it is stopped.
    """
    rig = RigModel(scenario, move=Remembered())
    chosen = rig.choose_formula(formula)
    with at_work("differentiating the chain"):
        table = budgeted.budget(rig, chosen, coverage, seed, _in_proportion(SIMULATED_TRIALS, trials))
    swapped = _in_proportion(SET, trials)
    with at_work("making the motion ready"):
        rig = RigModel(scenario).prepared((trials or FIRST) + swapped * (2 + len(rig.inputs)), AS_USUAL)
    simulated, checks, ended = _simulated(rig, table, [trials] if trials else [FIRST, MOST], seed, workers)
    with at_work("taking one draw after another from a second set"):
        indices = sobol_indices(rig, chosen, swapped, seed, workers=workers) if table.combined > 0.0 else None
    return Budget.of(
        table,
        monte_carlo=simulated,
        validation=checks,
        indices=indices,
        contradicted=[] if indices is None else [i.name for i in contradictions(table, indices)],
        ended=ended,
    )


def _simulated(
    rig: RigModel, table: budgeted.Budget, counts: Sequence[int], seed: int, workers: int | None
) -> tuple[FormulaResult, list[Validation], str]:
    """A study of the first of so many points that are enough, how the budget compares, and why it ended."""
    for points in counts:
        plan = Plan(points, seed, table.coverage, quasi=True)
        result = study(rig, plan, workers=workers, progress=watched())
        if table.formula not in result.formulas:  # stopped within the first block
            raise KeyboardInterrupt
        checks = validations(table, result.formulas[table.formula])
        if result.ended == "interrupted" or all(check.conclusive for check in checks[:1]):
            break
    return result.formulas[table.formula], checks, result.ended


def _in_proportion(usual: int, trials: int | None) -> int:
    """Of so many trials as a rule, as many as go with a study of ``trials``."""
    share = 1.0 if trials is None else min(trials / FIRST, FINEST)
    return max(round(usual * share), LEAST)
