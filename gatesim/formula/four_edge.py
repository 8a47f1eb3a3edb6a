"""Speed, acceleration and length from the leading and trailing edge at both gates.

Three intervals fix the three unknowns of x = v t + a t^2 / 2: the front has moved s at
t_s, the rear L at T and L + s at T + t_r. Exact under any constant acceleration.
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula, dwell_length, ratio
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_three_edges
from gatesim.formula.spacing_dwell import plain_form
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class FourEdge(Formula):
    """Solve for speed, acceleration and length."""

    name = "four-edge"
    equation = "s = v t_s + a t_s²/2,  s = v t_r + a t_r (2T + t_r)/2,  L = v T + a T²/2"
    needs = "dwell at gate 1, captures of both edges at gate 2, counting on after the dwell"
    idea = "The trailing end is timed from gate to gate too, which tells how the speed changes"
    assumes = "one constant acceleration from the first edge to the last"
    at_constant_acceleration = "none"
    registers = ("dwell", "capture", "rear_capture")
    constants = ("spacing",)
    counts_of = "time"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """Solve the linear pair for v and a (per count), then v T + a T^2 / 2."""
        front_speed = ratio(constants.spacing, counts.capture)
        rear_speed = ratio(constants.spacing, counts.rear_capture - counts.dwell)
        # each mean speed holds at the middle of its interval; front and rear share one motion
        middles = 0.5 * (counts.rear_capture + counts.dwell - counts.capture)
        acceleration = ratio(rear_speed - front_speed, middles)
        speed = front_speed - 0.5 * acceleration * counts.capture
        return dwell_length(speed, acceleration, counts.dwell)

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """The constant acceleration that keeps three of its edges where they are."""
        return through_three_edges(seen)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = P + P (c - r)/r (T - c)/e with P = S T / c and e = 2 T + r - c."""
        plain = plain_form(k, constants, fine)
        k.step("dark_2", "add", "dark", "dark")
        k.step("late", "add", "dark_2", "transit")
        k.step("span", "subtract", "late", "reach", "twice the time between the middles of both transits")
        # Front before rear at gate 2 means c - r < T, so e > T: less is no passage of one part.
        k.guard("span", "<", ranges.dwell[0], 5)
        k.step("gap", "subtract", "reach", "transit")
        k.step("rise_n", "multiply", plain, "gap")
        k.step("rise", "divide", "rise_n", "transit", "change of the reading from one speed to the other")
        k.step("excess", "subtract", "dark", "reach")
        k.step("bent_n", "multiply", "rise", "excess")
        k.step("bent", "divide", "bent_n", "span")
        return k.step("corrected", "add", plain, "bent", "solved for v, a and L")


FORMULA = FourEdge()
