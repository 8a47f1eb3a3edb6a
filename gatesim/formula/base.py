"""What every length formula takes and gives, and what others ask of it."""

import re
from abc import ABC, abstractmethod
from dataclasses import dataclass, fields
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from gatesim.formula.seen import AssumedMotion, SeenMotion
from gatesim.ground.arrays import Array
from gatesim.ground.quantity import accepts

if TYPE_CHECKING:
    from gatesim.formula.integer.ranges import Ranges
    from gatesim.formula.integer.sketch import Sketch


@dataclass(frozen=True)
class Counts:
    """Registers of one measuring cycle, in counts since the leading edge at gate one.

    Arrays of shape (n,), NaN where nothing was recorded: ``dwell`` trailing edge at gate
    one, ``capture`` leading edge at gate two, ``rear_capture`` trailing edge at gate two,
    ``third_capture`` leading edge at gate three.
    """

    dwell: Array
    capture: Array
    rear_capture: Array
    third_capture: Array


@dataclass(frozen=True)
@accepts(
    spacing="m", rearm="m", tick="s", pitch="m", acceleration="m/s^2", release_distance="m", gain="", zero="m"
)
class Constants:
    """What the controller holds: SI floats.

    ``spacing`` and ``rearm`` from gate one to gates two and three (m), ``tick`` the time
    of one count (s), ``pitch`` the travel of one count (m), ``acceleration`` (m/s^2),
    ``release_distance`` to gate one (m); ``gain`` and ``zero`` (m) of the calibration
    line. NaN where the rig has none.
    """

    spacing: float
    rearm: float
    tick: float
    pitch: float
    acceleration: float
    release_distance: float
    gain: float = 1.0
    zero: float = 0.0


@dataclass(frozen=True)
class Latch:
    """Where a register takes its count: ``gate`` 1, 2 or 3, at the edge to dark or to light.

    ``lacking``: what is missing, in words, where the register stays empty.
    """

    gate: int
    dark: bool
    lacking: str


REGISTERS: dict[str, Latch] = {
    "dwell": Latch(1, False, "dwell"),
    "capture": Latch(2, True, "capture"),
    "rear_capture": Latch(2, False, "the trailing edge at gate 2 before the counter is re-armed"),
    "third_capture": Latch(3, True, "the leading edge at gate 3"),
}

WITHOUT: dict[str, str] = {
    "rearm": "a third gate",
    "tick": "counts of time",
    "pitch": "counts of travel",
    "acceleration": "counts of time and an acceleration",
    "release_distance": "a release from rest, without launch or belt",
}
"""What a rig lacks, in words, that cannot give a constant."""


NAME = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")
"""Names that a scenario, a command line and, with _ for -, a controller's program can take."""


class Formula(ABC):
    """A length formula: one subclass in a file of its own, and one line in `gatesim.formula`.

    A subclass that leaves out one of these fails at import (`gatesim.ground.family.check_complete`):

    ``name`` as in a scenario; ``equation``; ``needs``: counts and constants in words;
    ``idea``: how it comes to the length, in plain words, the beginning of a sentence;
    ``assumes``: what it takes for granted, to go on after "The formula takes for granted";
    ``at_constant_acceleration``: its error there, in words and symbols;
    ``registers`` it reads and ``constants`` it needs, by attribute of `Counts` and `Constants`;
    ``counts_of``: whether the counts must be of "time", of "travel" or
    may be of "either"; ``one_speed``: whether it takes the mean speed from gate 1 to gate 2 for
    that of the whole passage of gate 1.
    """

    name: ClassVar[str]
    equation: ClassVar[str]
    needs: ClassVar[str]
    idea: ClassVar[str]
    assumes: ClassVar[str]
    at_constant_acceleration: ClassVar[str]
    registers: ClassVar[tuple[str, ...]]
    constants: ClassVar[tuple[str, ...]]
    counts_of: ClassVar[Literal["time", "travel", "either"]]
    one_speed: ClassVar[bool]

    @abstractmethod
    def length(self, counts: Counts, constants: Constants) -> Array:
        """Lengths in m, shape (n,), before the calibration line; NaN where there is none."""

    @abstractmethod
    def assumed_motion(self, seen: SeenMotion, constants: Constants) -> AssumedMotion:
        """The motion under which the formula is exact, as near to the real one as it can be."""

    @abstractmethod
    def integer_form(self, k: "Sketch", constants: Constants, ranges: "Ranges", fine: float) -> str:
        """Write the length in units of ``fine`` m on ``k``, and return the name of the last value.

        It is that of `length`, before the calibration line. At hand are the guarded counts: the
        dwell as ``dark``, the capture as ``reach``, the trailing edge's transit from gate 1 to
        gate 2 as ``transit``, the third capture as ``reach_3``; of them, those in `registers`.
        """

    def check(self) -> None:
        """Raise TypeError for a name that is none, or a register or constant that no rig has."""
        if not NAME.fullmatch(self.name):
            raise TypeError(f"a formula is named {self.name!r}, expected words joined by -")
        known = (*REGISTERS, *(field.name for field in fields(Constants)))
        unknown = [key for key in (*self.registers, *self.constants) if key not in known]
        if unknown:
            raise TypeError(f"the formula {self.name} asks for {', '.join(unknown)}, which no rig has")

    def off_because(self, seen: SeenMotion, constants: Constants) -> str:
        """Why this motion makes the reading wrong, in a sentence or two."""
        return f"The formula {self.name} takes for granted {self.assumes}. In truth {seen.gained}."

    @property
    def gates(self) -> int:
        """How many gates it needs: two, or three where it reads a register of the third."""
        return max(2, *(REGISTERS[register].gate for register in self.registers))

    def missing(self, constants: Constants) -> str:
        """The first constant that the rig cannot give, or nothing."""
        return next((key for key in self.constants if np.isnan(getattr(constants, key))), "")

    def lacks(self, counts: Counts, constants: Constants) -> str:
        """What the formula lacks in the first trial, in words; nothing where it has all."""
        key = self.missing(constants)
        if key:
            return WITHOUT.get(key, key)
        empty = (key for key in self.registers if np.isnan(getattr(counts, key)[0]))
        return next((REGISTERS[key].lacking for key in empty), "")


def ratio(numerator: Array | float, denominator: Array) -> Array:
    """Quotient, NaN where the denominator is zero: no count, no reading."""
    undefined = np.full(np.shape(denominator), np.nan)
    quotient: Array = np.divide(numerator, denominator, out=undefined, where=denominator != 0.0)
    return quotient


def dwell_length(speed: Array, acceleration: Array, dwell: Array) -> Array:
    """Length that passes in the dwell: v T + a T^2 / 2."""
    return speed * dwell + 0.5 * acceleration * dwell**2
