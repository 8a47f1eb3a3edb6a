"""Dwell times the mean of two speeds: leading edge and trailing edge over the spacing.

L = (T/2) (s/t_s + s/t_r), t_r the trailing edge's time from gate one to gate two. The
second speed is taken later than the dwell ends, so that under constant acceleration it
reads long by a T (t_s + t_r) / 4: far less than `spacing_dwell` for a long part.
Common practice, no source; the bias follows from x = v t + a t^2 / 2.
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_the_gates
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class RearEdge(Formula):
    """Mean of the readings with the front speed and with the rear speed."""

    name = "rear-edge"
    equation = "L = (T/2) (s/t_s + s/t_r)"
    needs = "dwell at gate 1, captures of both edges at gate 2, counting on after the dwell"
    idea = "Dwell times the mean of the leading and the trailing end's speed"
    assumes = (
        "that the mean of two speeds, the leading end's and the trailing end's from gate to gate, is that of "
        "the passage of gate 1; but the second is taken after the part has left gate 1"
    )
    at_constant_acceleration = "reads long by (a/4) T (t_s + t_r)"
    registers = ("dwell", "capture", "rear_capture")
    constants = ("spacing",)
    counts_of = "time"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """See `Formula.length`."""
        front = ratio(counts.dwell, counts.capture)
        rear = ratio(counts.dwell, counts.rear_capture - counts.dwell)
        return 0.5 * constants.spacing * (front + rear)

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """Uniform: only then is the mean of the two speeds that of the dwell."""
        return through_the_gates(seen, 0.0)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = (S T / c + S T / r) / 2; the halving is left to the last division, with SPACING / 2."""
        k.constant("SPACING", constants.spacing / fine / 2.0, "half the distance from gate 1 to gate 2")
        k.step("product", "multiply", "SPACING", "dark")
        k.step("by_front", "divide", "product", "reach", "with the leading edge's speed")
        k.step("by_rear", "divide", "product", "transit", "with the trailing edge's speed")
        return k.step("mean", "add", "by_front", "by_rear", "L = (T/2) (s/t_s + s/t_r)")


FORMULA = RearEdge()
