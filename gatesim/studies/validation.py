"""Whether the linear budget may be trusted: JCGM 101:2008, clause 8."""

from dataclasses import dataclass
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.studies.budget import Budget
from gatesim.studies.indices import Index, Indices
from gatesim.studies.result import FormulaResult
from gatesim.studies.until import tolerance_of_digits


@dataclass(frozen=True)
class Validation:
    """Comparison of the ends of the two coverage intervals, in m.

    ``conclusive`` is False while the Monte Carlo errors of the ends exceed a fifth of the
    tolerance, so that the simulation itself is too coarse to judge (clause 8.2); unless the
    difference is beyond the tolerance by three Monte Carlo errors anyway.
    """

    digits: int
    tolerance: float
    low_difference: float
    high_difference: float
    conclusive: bool

    KEYS: ClassVar[Keys] = {
        "digits": "digits",
        "tolerance": "tolerance",
        "low_difference": "low_difference",
        "high_difference": "high_difference",
        "conclusive": "conclusive",
        "valid": "valid",
    }

    @property
    def valid(self) -> bool:
        """Both ends agree within the numerical tolerance (clause 8.1); False if NaN."""
        return max(self.low_difference, self.high_difference) <= self.tolerance


def validate(linear: Budget, simulated: FormulaResult, digits: int) -> Validation:
    """Compare a budget with a Monte Carlo study of the same model and coverage probability.

    ``digits``: significant digits of u that have to hold (1 or 2 in practice, clause 7.9.2).
    """
    tolerance = tolerance_of_digits(simulated.uncertainty.value, digits)
    low = abs(linear.interval[0] - simulated.low.value)
    high = abs(linear.interval[1] - simulated.high.value)
    coarse = max(simulated.low.error, simulated.high.error)
    clear = max(low - 3.0 * simulated.low.error, high - 3.0 * simulated.high.error) > tolerance
    return Validation(digits, tolerance, low, high, clear or coarse <= tolerance / 5.0)


SURE = 3.0  # standard errors of an index
WORTH = 0.02  # share of the variance


def contradictions(linear: Budget, indices: Indices) -> list[Index]:
    """Draws that the budget lists as without influence though their total Sobol index says otherwise.

    What the rows that stand for staircases (sampling, rounding) explain is no contradiction: a phase
    acts through them alone. Nor is an index that its own error may make.
    """
    idle = {row.name for row in linear.rows if not row.matters(linear.combined)}
    stairs = sum(row.share for row in linear.rows if row.staircase)
    return [i for i in indices.indices if i.name in idle and i.total - SURE * i.total_error > stairs + WORTH]


def validations(linear: Budget, simulated: FormulaResult) -> list[Validation]:
    """For one and two digits of u; empty if there is nothing to compare: neither knows a spread."""
    if not (linear.combined > 0.0 or simulated.uncertainty.value > 0.0):
        return []
    return [validate(linear, simulated, digits) for digits in (1, 2)]
