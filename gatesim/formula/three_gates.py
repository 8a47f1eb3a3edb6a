"""Speed and acceleration from the leading edge at three gates, then length from the dwell.

x = v t + a t^2 / 2 through (t_s, s) and (t_3, s_3); L = v T + a T^2 / 2. Exact under any
constant acceleration.
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula, dwell_length, ratio
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_three_edges
from gatesim.formula.spacing_dwell import plain_form
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class ThreeGates(Formula):
    """Solve for speed and acceleration, then apply them to the dwell."""

    name = "three-gates"
    equation = "s = v t_s + a t_s²/2,  s_3 = v t_3 + a t_3²/2,  L = v T + a T²/2"
    needs = "dwell at gate 1, one capture each at gates 2 and 3"
    idea = "The leading end is timed at gate 3 too, which tells how the speed changes"
    assumes = "one constant acceleration from gate 1 to gate 3"
    at_constant_acceleration = "none"
    registers = ("dwell", "capture", "third_capture")
    constants = ("spacing", "rearm")
    counts_of = "time"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """Solve the pair for v and a (per count), then v T + a T^2 / 2."""
        near, far = counts.capture, counts.third_capture
        near_speed, far_speed = ratio(constants.spacing, near), ratio(constants.rearm, far)
        acceleration = 2.0 * ratio(far_speed - near_speed, far - near)
        speed = near_speed - 0.5 * acceleration * near
        return dwell_length(speed, acceleration, counts.dwell)

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """The constant acceleration that keeps the edges of gate 1 and the first of gate 2 where they are."""
        return through_three_edges(seen)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = N + (F - N) (T - c)/e with N = S T / c, F = S3 T / c3 and e = c3 - c."""
        assert ranges.further is not None
        near = plain_form(k, constants, fine)
        k.constant("REARM", constants.rearm / fine, "distance from gate 1 to gate 3")
        k.step("far_n", "multiply", "REARM", "dark")
        k.step("far", "divide", "far_n", "reach_3", "with the mean speed to gate 3")
        k.step("span", "subtract", "reach_3", "reach")
        k.guard("span", "<", ranges.further[0], 6)
        k.guard("span", ">", ranges.further[1], 6)
        k.step("rise", "subtract", "far", near)
        k.step("excess", "subtract", "dark", "reach")
        k.step("bent_n", "multiply", "rise", "excess")
        k.step("bent", "divide", "bent_n", "span")
        return k.step("corrected", "add", near, "bent", "solved for v, a and L")


FORMULA = ThreeGates()
