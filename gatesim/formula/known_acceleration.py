"""Spacing and dwell, corrected for an acceleration that is known or fitted.

L = s T / t_s + (a/2) T (T - t_s): exact under the constant acceleration a.
"""

from typing import TYPE_CHECKING

from gatesim.formula.base import Constants, Counts, Formula
from gatesim.formula.seen import AssumedMotion, SeenMotion, through_the_gates
from gatesim.formula.spacing_dwell import plain_form, plain_length
from gatesim.ground.arrays import Array

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


class KnownAcceleration(Formula):
    """The uncorrected reading plus what the part gained while it passed."""

    name = "known-acceleration"
    equation = "L = s T / t_s + (a/2) T (T - t_s)"
    needs = "dwell at gate 1, one capture at gate 2, clock frequency, acceleration"
    idea = "The controller is told how fast the part gains speed"
    assumes = "one constant acceleration, of the size that the controller was told"
    at_constant_acceleration = "off by ((a' - a)/2) T (T - t_s): none if a' is right"
    registers = ("dwell", "capture")
    constants = ("spacing", "tick", "acceleration")
    counts_of = "time"
    one_speed = False

    def length(self, counts: Counts, constants: Constants) -> Array:
        """See `Formula.length`."""
        gained = 0.5 * constants.acceleration * constants.tick**2
        return plain_length(counts, constants) + gained * counts.dwell * (counts.dwell - counts.capture)

    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """The acceleration that the controller was told, all the way."""
        return through_the_gates(seen, constants.acceleration)

    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """L = S T / c + G T (T - c), G = a tick^2 / 2."""
        plain = plain_form(k, constants, fine)
        if constants.acceleration == 0.0:
            return plain
        k.step("excess", "subtract", "dark", "reach")
        gain = 0.5 * constants.acceleration * constants.tick**2 / fine
        # G T is kept as large as G T (T - c) allows, so that its rounding stays small in the product.
        power = k.power(k.word.high // k.size("excess") // 2, abs(gain) * k.size("dark"))
        k.step("speed", "divide", *k.scaled("GAINED", gain * (1 << power), "dark", "a tick^2 / 2, times UP"))
        k.constant("UP", float(1 << power), f"two to the power of {power}")
        k.step("extra_n", "multiply", "speed", "excess")
        k.step("extra", "divide", "extra_n", "UP")
        return k.step("corrected", "add", plain, "extra", "L = s T / t_s + (a/2) T (T - t_s)")

    def off_because(self, seen: SeenMotion, constants: Constants) -> str:
        """The acceleration that was told beside the true one."""
        gain = (seen.leaves - seen.enters) / seen.dwell
        return (
            f"The controller was told an acceleration of {constants.acceleration:.3g} m/s². In truth "
            f"{seen.gained}, which is {gain:.3g} m/s² on average."
        )


FORMULA = KnownAcceleration()
