"""Length from encoder counts: travel while the gate is dark, L = N p.

p is the travel of one count, roller circumference over lines times edge factor.
"""

from gatesim.formula.base import Constants, Counts, Formula
from gatesim.ground.arrays import Array


def length(counts: Counts, constants: Constants) -> Array:
    """Counts times pitch; speed does not enter."""
    return constants.pitch * counts.dwell


FORMULA = Formula(
    name="encoder-pitch",
    equation="L = N p",
    needs="encoder counts while gate 1 is dark, travel of one count",
    registers=("dwell",),
    constants=("pitch",),
    length=length,
)
