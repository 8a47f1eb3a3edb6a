"""From a formula, its constants and the stated range to a proved integer program."""

import math
from dataclasses import dataclass

from gatesim.formula import FORMULAS, Constants
from gatesim.formula.integer.bounds import Proof, prove
from gatesim.formula.integer.program import DINT, LINT, UDINT, UINT, Program, Word
from gatesim.formula.integer.ranges import Ranges, Span
from gatesim.formula.integer.sketch import NotProved, Sketch, TooWide
from gatesim.ground.errors import InputError

FINE = (64, 16, 4, 1)  # fine units in a unit of the result, tried in this order
ENOUGH = 1.0  # an error bound, in units of the result, that needs no wider words
TOLERABLE = 10.0  # an error bound, likewise, above which the form is not worth handing over


@dataclass(frozen=True)
class Stated:
    """What parts the controller must measure: lengths (m) and speeds at the gates (m/s).

    ``readings`` is the range that the formula makes of these lengths, where its bias moves
    it; left out, the lengths. ``slack`` widens the ranges of counts and readings at either end.
    """

    lengths: tuple[float, float]
    speeds: tuple[float, float]
    readings: tuple[float, float] | None = None
    slack: float = 0.02


@dataclass(frozen=True)
class Integer:
    """A program with its proof; ``fine`` is the number of fine units in a unit of the result."""

    program: Program
    proof: Proof
    ranges: Ranges
    fine: int

    @property
    def error(self) -> float:
        """Bound on the error that the integer form adds, m, for all inputs that pass the guards."""
        return self.proof.result.error * self.program.unit


def counts_per_metre(constants: Constants, speed: float) -> float:
    """Counts while a part travels one metre: of the clock at that speed, or of the encoder."""
    if math.isnan(constants.tick):
        return 1.0 / constants.pitch
    return 1.0 / (speed * constants.tick)


def count_ranges(constants: Constants, stated: Stated, formula: str) -> Ranges:
    """Counts over the stated range: a distance takes between it over the speeds."""
    slow, fast = (counts_per_metre(constants, v) for v in stated.speeds)

    def over(near: float, far: float) -> Span:
        return _span(near * fast, far * slow, stated.slack)

    third = math.isfinite(constants.rearm) and FORMULAS[formula].gates == 3
    return Ranges(
        dwell=over(*stated.lengths),
        capture=over(constants.spacing, constants.spacing),
        third=over(constants.rearm, constants.rearm) if third else None,
        further=over(*(2 * (constants.rearm - constants.spacing,))) if third else None,
    )


def _span(low: float, high: float, slack: float) -> Span:
    return max(1, math.floor(low * (1.0 - slack))), math.ceil(high * (1.0 + slack))


def build(
    formula: str,
    constants: Constants,
    stated: Stated,
    width: int = 32,
    unit: float = 1e-6,
    widest: Word = LINT,
) -> Integer:
    """The integer form of a formula over the stated range.

    ``width`` is that of the count registers in bits, ``unit`` the result's (m),
    ``widest`` the widest type the controller has. The narrowest words that keep the error
    bound within one unit are taken, or else those of least error. Raises InputError where
    the registers or words cannot hold the range.
    """
    missing = FORMULAS[formula].missing(constants)
    if missing:
        raise InputError(f"the formula {formula} needs {missing}, which this rig does not give")
    ranges = count_ranges(constants, stated, formula)
    register = UINT if width == 16 else UDINT
    _check_registers(formula, ranges, register)
    found: list[Integer] = []
    failure = ""
    for word in (DINT, LINT) if widest.bits >= LINT.bits else (DINT,):
        for fine in FINE:
            try:
                found.append(_written(formula, constants, stated, ranges, register, word, fine, unit))
            except (TooWide, NotProved) as reason:
                failure = f"{reason} in {word.name}"
                continue
            if found[-1].proof.result.error <= ENOUGH:
                return found[-1]
    return _least_error(formula, found, failure)


def _least_error(formula: str, found: list[Integer], failure: str) -> Integer:
    if not found:
        raise InputError(
            f"the formula {formula} cannot be calculated over the stated range ({failure}), "
            "expected a coarser unit of the result, narrower ranges or wider words"
        )
    best = min(found, key=lambda made: made.proof.result.error)
    if best.proof.result.error > TOLERABLE:
        error, most = 1e3 * best.error, 1e3 * TOLERABLE * best.program.unit
        raise InputError(
            f"the formula {formula} in {best.program.word.name} may be wrong by {error:.3g} mm, "
            f"expected at most {most:.3g} mm: wider words or narrower ranges are needed"
        )
    return best


def _check_registers(formula: str, ranges: Ranges, register: Word) -> None:
    ends = {"dwell": ranges.dwell, "capture": ranges.capture, "third capture": ranges.third}
    if "rear_capture" in FORMULAS[formula].registers:
        ends["rear capture"] = (0, ranges.dwell[1] + ranges.transit[1])
    for name, span in ends.items():
        if span is not None and span[1] >= register.high:
            raise InputError(
                f"the {name} reaches {span[1]} counts over the stated range, expected at most "
                f"{register.high - 1} in a register of {register.bits} bits"
            )


def _written(
    formula: str,
    constants: Constants,
    stated: Stated,
    ranges: Ranges,
    register: Word,
    word: Word,
    fine: int,
    unit: float,
) -> Integer:
    k = Sketch(word)
    _read_registers(k, formula, ranges, register)
    size = unit / fine
    length = _calibrated(k, FORMULAS[formula].integer_form(k, constants, ranges, size), constants, size)
    if fine > 1:
        k.constant("FINE", float(fine), "fine units in a unit of the result")
        length = k.step("whole", "divide", length, "FINE")
    low, high = stated.readings or stated.lengths
    k.guard(length, "<", math.floor(low * (1.0 - stated.slack) / unit), 7)
    k.guard(length, ">", math.ceil(high * (1.0 + stated.slack) / unit), 7)
    if word is not DINT:
        length = k.step("result", "convert", length, word=DINT)
    name = "Length_" + formula.replace("-", "_")
    program = k.program(name, formula, FORMULAS[formula].equation, length, unit)
    return Integer(program, prove(program), ranges, fine)


def _calibrated(k: Sketch, length: str, constants: Constants, fine: float) -> str:
    """Gain and zero of the calibration line; nothing where the line is the identity."""
    if constants.gain != 1.0:
        k.step(
            "sloped", "divide", *k.scaled("GAIN", constants.gain - 1.0, length, "calibration: slope less one")
        )
        length = k.step("trimmed", "add", length, "sloped")
    if constants.zero != 0.0:
        k.constant("ZERO", constants.zero / fine, "calibration: constant")
        length = k.step("zeroed", "add", length, "ZERO")
    return length


def _read_registers(k: Sketch, formula: str, ranges: Ranges, register: Word) -> None:
    """Declare, guard and convert the registers: dark, reach, transit, reach_3."""
    k.register("dwell", register, "counts from gate 1 dark to gate 1 light")
    k.guard("dwell", "<", ranges.dwell[0], 1)
    k.guard("dwell", ">", ranges.dwell[1], 2)
    k.step("dark", "convert", "dwell")
    needs = FORMULAS[formula].registers
    if "capture" in needs:
        assert ranges.capture is not None
        k.register("capture", register, "counts from gate 1 dark to gate 2 dark")
        k.guard("capture", "<", ranges.capture[0], 3)
        k.guard("capture", ">", ranges.capture[1], 4)
        k.step("reach", "convert", "capture")
    if "rear_capture" in needs:
        k.register("rear_capture", register, "counts from gate 1 dark to gate 2 light")
        k.guard("rear_capture", ">", ranges.dwell[1] + ranges.transit[1], 5)
        k.step("reach_rear", "convert", "rear_capture")
        k.step("transit", "subtract", "reach_rear", "dark", "transit of the trailing edge")
        k.guard("transit", "<", ranges.transit[0], 5)
        k.guard("transit", ">", ranges.transit[1], 5)
    if "third_capture" in needs:
        assert ranges.third is not None
        k.register("third_capture", register, "counts from gate 1 dark to gate 3 dark")
        k.guard("third_capture", "<", ranges.third[0], 6)
        k.guard("third_capture", ">", ranges.third[1], 6)
        k.step("reach_3", "convert", "third_capture")
