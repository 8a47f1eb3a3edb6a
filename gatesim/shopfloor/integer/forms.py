"""Integer forms of the length formulas; a form is one function, listed in `FORMS`.

Each takes the converted registers and yields the length in fine units, before the
calibration line. The dwell T is named dark, the capture c reach, the rear transit r transit.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

from gatesim.formula import Constants
from gatesim.shopfloor.integer.sketch import Sketch

Span = tuple[int, int]


@dataclass(frozen=True)
class Ranges:
    """Counts that occur over the stated lengths and speeds, ends included.

    ``transit`` is the trailing edge's way from gate 1 to gate 2, ``third`` the leading
    edge's to gate 3, ``further`` its way from gate 2 to gate 3. None where the rig has none.
    """

    dwell: Span
    capture: Span | None = None
    third: Span | None = None
    further: Span | None = None

    @property
    def transit(self) -> Span:
        """The trailing edge covers the spacing at the same range of speeds as the leading one."""
        assert self.capture is not None
        return self.capture


Form = Callable[[Sketch, Constants, Ranges, float], str]


def spacing_dwell(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = S T / c."""
    k.constant("SPACING", constants.spacing / fine, "distance from gate 1 to gate 2")
    k.step("product", "multiply", "SPACING", "dark")
    return k.step("plain", "divide", "product", "reach", "L = s T / t_s")


def known_acceleration(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = S T / c + G T (T - c), G = a tick^2 / 2."""
    plain = spacing_dwell(k, constants, ranges, fine)
    if constants.acceleration == 0.0:
        return plain
    k.step("excess", "subtract", "dark", "reach")
    gain = 0.5 * constants.acceleration * constants.tick**2 / fine
    # G T is kept as large as G T (T - c) allows, so that its rounding stays small in the product.
    power = _power(k.word.high // k.size("excess") // 2, abs(gain) * k.size("dark"))
    k.step("speed", "divide", *_scaled(k, "GAINED", gain * (1 << power), "dark", "a tick^2 / 2, times UP"))
    k.constant("UP", float(1 << power), f"two to the power of {power}")
    k.step("extra_n", "multiply", "speed", "excess")
    k.step("extra", "divide", "extra_n", "UP")
    return k.step("corrected", "add", plain, "extra", "L = s T / t_s + (a/2) T (T - t_s)")


def fixed_release(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = (A + B T/c) T/c with A = 2 sqrt(x_A) d, B = d^2, d = sqrt(x_A + s) - sqrt(x_A)."""
    root = math.sqrt(constants.release_distance)
    d = math.sqrt(constants.release_distance + constants.spacing) - root
    k.constant("LINEAR", 2.0 * root * d / fine, "2 sqrt(x_A) (sqrt(x_A + s) - sqrt(x_A))")
    k.constant("SQUARE", d * d / fine, "(sqrt(x_A + s) - sqrt(x_A)) squared; LINEAR + SQUARE = s")
    k.step("bend_n", "multiply", "SQUARE", "dark")
    k.step("bend", "divide", "bend_n", "reach")
    k.step("slope", "add", "LINEAR", "bend")
    k.step("product", "multiply", "slope", "dark")
    return k.step("plain", "divide", "product", "reach", "release from rest: the acceleration cancels")


def rear_edge(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = (S T / c + S T / r) / 2; the halving is left to the last division, with SPACING / 2."""
    k.constant("SPACING", constants.spacing / fine / 2.0, "half the distance from gate 1 to gate 2")
    k.step("product", "multiply", "SPACING", "dark")
    k.step("by_front", "divide", "product", "reach", "with the leading edge's speed")
    k.step("by_rear", "divide", "product", "transit", "with the trailing edge's speed")
    return k.step("mean", "add", "by_front", "by_rear", "L = (T/2) (s/t_s + s/t_r)")


def four_edge(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = P + P (c - r)/r (T - c)/e with P = S T / c and e = 2 T + r - c."""
    plain = spacing_dwell(k, constants, ranges, fine)
    k.step("dark_2", "add", "dark", "dark")
    k.step("late", "add", "dark_2", "transit")
    k.step("span", "subtract", "late", "reach", "twice the time between the middles of both transits")
    # Front before rear at gate 2 means c - r < T, so e > T: less is no passage of one part.
    k.guard("span", "<", ranges.dwell[0], 5)
    return _slanted(k, plain, k.step("gap", "subtract", "reach", "transit"), "transit")


def _slanted(k: Sketch, plain: str, gap: str, over: str) -> str:
    k.step("rise_n", "multiply", plain, gap)
    k.step("rise", "divide", "rise_n", over, "change of the reading from one speed to the other")
    k.step("excess", "subtract", "dark", "reach")
    k.step("bent_n", "multiply", "rise", "excess")
    k.step("bent", "divide", "bent_n", "span")
    return k.step("corrected", "add", plain, "bent", "solved for v, a and L")


def three_gates(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = N + (F - N) (T - c)/e with N = S T / c, F = S3 T / c3 and e = c3 - c."""
    assert ranges.further is not None
    near = spacing_dwell(k, constants, ranges, fine)
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


def encoder_pitch(k: Sketch, constants: Constants, ranges: Ranges, fine: float) -> str:
    """L = N p, p as a fraction of a power of two."""
    return k.step(
        "plain", "divide", *_scaled(k, "PITCH", constants.pitch / fine, "dark", "travel of one count")
    )


def calibrated(k: Sketch, length: str, constants: Constants, fine: float) -> str:
    """Gain and zero of the calibration line; nothing where the line is the identity."""
    if constants.gain != 1.0:
        k.step(
            "sloped",
            "divide",
            *_scaled(k, "GAIN", constants.gain - 1.0, length, "calibration: slope less one"),
        )
        length = k.step("trimmed", "add", length, "sloped")
    if constants.zero != 0.0:
        k.constant("ZERO", constants.zero / fine, "calibration: constant")
        length = k.step("zeroed", "add", length, "ZERO")
    return length


def _scaled(k: Sketch, name: str, factor: float, operand: str, meaning: str) -> tuple[str, str]:
    """Multiply ``operand`` by ``factor`` as integer over a power of two: dividend and divisor."""
    power = _power(k.word.high // k.size(operand) // 2, abs(factor))
    k.constant(name, factor * (1 << power), f"{meaning}, times {name}_OVER")
    k.constant(f"{name}_OVER", float(1 << power), f"two to the power of {power}")
    return k.step(f"{name.lower()}_n", "multiply", name, operand), f"{name}_OVER"


def _power(room: int, size: float) -> int:
    """The largest power of two, up to 2^30, by which ``size`` may be scaled within ``room``."""
    if size == 0.0 or room < 1:
        return 0
    return max(0, min(30, math.floor(math.log2(room / size)) - 1))


FORMS: dict[str, Form] = {
    "spacing-dwell": spacing_dwell,
    "known-acceleration": known_acceleration,
    "fixed-release": fixed_release,
    "rear-edge": rear_edge,
    "four-edge": four_edge,
    "three-gates": three_gates,
    "encoder-pitch": encoder_pitch,
}
