"""Length from the dwell at gate one and the mean speed over the spacing.

L = s T / t_s. With constant acceleration a it reads L + (-a/2) T (T - t_s): short for a
part longer than the spacing, long for a shorter one, exact where both are equal
(Newton's second law, integrated; see tests/test_formula.py).
"""

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Spacing times the ratio of two counts: the clock's frequency cancels."""
    return constants.spacing * ratio(counts.dwell, counts.capture)


FORMULA = Formula(
    name="spacing-dwell",
    equation="L = s T / t_s",
    needs="dwell at gate 1, one capture at gate 2",
    registers=("dwell", "capture"),
    constants=("spacing",),
    length=length,
)
