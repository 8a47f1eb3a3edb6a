"""Length from the dwell at gate one and the mean speed over the spacing.

L = s T / t_s. With constant acceleration a it reads L + (-a/2) T (T - t_s): short for a
part longer than the spacing, long for a shorter one, exact where both are equal
(Newton's second law, integrated; see tests/test_formula.py).
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula, ratio
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_the_gates
from gatesim.ground.arrays import Array
from gatesim.ground.text import mm

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


def plain_length(counts: Counts, constants: Constants) -> Array:
    """Spacing times the ratio of two counts: the clock's frequency cancels."""
    return constants.spacing * ratio(counts.dwell, counts.capture)


def plain_form(k: "Sketch", constants: Constants, fine: float) -> str:
    """L = S T / c as integers."""
    k.constant("SPACING", constants.spacing / fine, "distance from gate 1 to gate 2")
    k.step("product", "multiply", "SPACING", "dark")
    return k.step("plain", "divide", "product", "reach", "L = s T / t_s")


class SpacingDwell(Formula):
    """One speed, taken over the spacing, times the dwell."""

    name = "spacing-dwell"
    equation = "L = s T / t_s"
    needs = "dwell at gate 1, one capture at gate 2"
    idea = "Dwell times the speed from gate 1 to gate 2"
    assumes = "that the part passes gate 1 at the mean speed that its leading end had from gate 1 to gate 2"
    at_constant_acceleration = "reads short by (a/2) T (T - t_s): long for a part shorter than the spacing"
    registers = ("dwell", "capture")
    constants = ("spacing",)
    counts_of = "either"
    one_speed = True

    def length(self, counts: Counts, constants: Constants) -> Array:
        """See `Formula.length`."""
        return plain_length(counts, constants)

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """Uniform, at the speed from gate 1 to gate 2."""
        return through_the_gates(seen, 0.0)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """See `plain_form`."""
        return plain_form(k, constants, fine)

    def off_because(self, seen: SeenMotion, constants: Constants) -> str:
        """How the one speed differs from the speed that the part has."""
        slow = seen.early < seen.whole
        amiss = 100.0 * abs(1.0 - seen.early / seen.whole)
        return (
            f"{_simply(seen)} In numbers: {seen.gained}. The speed that it is reckoned with was taken over "
            f"{_over(seen)}: {seen.early:.4g} m/s. On average over its whole length it ran at "
            f"{seen.whole:.4g} m/s, so that the speed is {amiss:.2g} % too {'low' if slow else 'high'}, "
            f"and speed times time comes out too {'short' if slow else 'long'}."
        )


def _simply(seen: SeenMotion) -> str:
    """The matter in one sentence."""
    if seen.steady:
        return "The part does not keep its speed while it passes."
    does = "speeds up" if seen.leaves > seen.enters else "slows down"
    if seen.spacing < seen.length:
        return f"The part {does} while it passes, but the controller reckons with the speed it had at first."
    return f"The part {does}, and the controller reckons with a speed it has only after it has passed gate 1."


def _over(seen: SeenMotion) -> str:
    first = seen.spacing < seen.length
    return f"the first {mm(seen.spacing)} only" if first else f"the {mm(seen.spacing)} from gate 1 to gate 2"


FORMULA = SpacingDwell()
