"""Length from encoder counts: travel while the gate is dark, L = N p.

p is the travel of one count, roller circumference over lines times edge factor.
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_the_gates
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class EncoderPitch(Formula):
    """Counts times pitch; speed does not enter."""

    name = "encoder-pitch"
    equation = "L = N p"
    needs = "encoder counts while gate 1 is dark, travel of one count"
    idea = "Travel is counted instead of time"
    assumes = "that the roller turns as the part moves"
    at_constant_acceleration = "none: speed does not enter"
    registers = ("dwell",)
    constants = ("pitch",)
    counts_of = "travel"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """See `Formula.length`."""
        return constants.pitch * counts.dwell

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """Any will do; uniform is the simplest."""
        return through_the_gates(seen, 0.0)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = N p, p as a fraction of a power of two."""
        return k.step(
            "plain", "divide", *k.scaled("PITCH", constants.pitch / fine, "dark", "travel of one count")
        )


FORMULA = EncoderPitch()
