"""Uncertainty budget with what proves it."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import ClassVar

from gatesim.api.result import WithLengths, at_work, watched
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

TRIALS = 65_536
"""Trials of the study from which on everything beside it takes its full number of trials."""

LEAST = 1000


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
    trials: int = TRIALS,
    seed: int = 1,
    workers: int | None = None,
) -> Budget:
    """What each quantity contributes to the error of the reading.

    Linear propagation (JCGM 100) by differentiating the chain with the counter left unrounded and
    every stage that samples at its mean delay;
    beside it a Monte Carlo study of so many ``trials`` on scrambled Sobol points (65,536 of them tell
    the ends of the interval as well as 200,000 pseudo-random trials), whether the two agree (JCGM 101,
    clause 8), and Sobol indices. With fewer trials than usual, the simulated rows of the budget
    and the indices take fewer, too. Raises InputError; KeyboardInterrupt if it is stopped.
    """
    rig = RigModel(scenario, move=Remembered())
    chosen = rig.choose_formula(formula)
    with at_work("differentiating the chain"):
        table = budgeted.budget(rig, chosen, coverage, seed, _in_proportion(SIMULATED_TRIALS, trials))
    rig = RigModel(scenario)
    result = study(rig, Plan(trials, seed, coverage, quasi=True), workers=workers, progress=watched())
    if chosen not in result.formulas:  # stopped within the first block
        raise KeyboardInterrupt
    simulated = result.formulas[chosen]
    with at_work("taking one draw after another from a second set"):
        swapped = _in_proportion(SET, trials)
        indices = sobol_indices(rig, chosen, swapped, seed, workers=workers) if table.combined > 0.0 else None
    return Budget.of(
        table,
        monte_carlo=simulated,
        validation=validations(table, simulated),
        indices=indices,
        contradicted=[] if indices is None else [i.name for i in contradictions(table, indices)],
        ended=result.ended,
    )


def _in_proportion(usual: int, trials: int) -> int:
    """Of so many trials as a rule, the share that a study of fewer ``trials`` than usual leaves."""
    return max(round(usual * min(trials / TRIALS, 1.0)), LEAST)
