"""The integer program: guards and steps of one operation each, on words of IEC 61131-3."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True)
class Word:
    """An integer data type of IEC 61131-3."""

    name: str
    bits: int
    signed: bool

    @property
    def low(self) -> int:
        """Least value."""
        return -(1 << (self.bits - 1)) if self.signed else 0

    @property
    def high(self) -> int:
        """Greatest value."""
        return (1 << (self.bits - 1 if self.signed else self.bits)) - 1

    def holds(self, value: int) -> bool:
        """Whether the type can represent the value."""
        return self.low <= value <= self.high

    def wrap(self, value: int) -> int:
        """What is left of a value too large: its lowest bits, read in this type."""
        return (value - self.low) % (1 << self.bits) + self.low


DINT = Word("DINT", 32, True)
LINT = Word("LINT", 64, True)
UINT = Word("UINT", 16, False)
UDINT = Word("UDINT", 32, False)


@dataclass(frozen=True)
class Register:
    """An input of the program: a count register of the controller."""

    name: str
    word: Word
    meaning: str


@dataclass(frozen=True)
class Constant:
    """A number the program holds; ``exact`` is the real number that ``value`` rounds."""

    name: str
    word: Word
    value: int
    exact: float
    meaning: str


Op = Literal["convert", "add", "subtract", "multiply", "divide", "divide-signed"]


@dataclass(frozen=True)
class Step:
    """``name := left op right`` in type ``word``; operands are names of the same type.

    "convert" changes the type of ``left``. Both divisions need a positive divisor and
    round to the nearest integer, halves away from zero: "divide" is
    (left + right / 2) / right and needs left >= 0, "divide-signed" adds -(right / 2) to a
    negative dividend instead. The division underneath truncates towards zero.
    """

    name: str
    word: Word
    op: Op
    left: str
    right: str = ""
    note: str = ""


@dataclass(frozen=True)
class Guard:
    """Leave with ``status`` and result 0 if ``name`` is below or above ``limit``."""

    name: str
    relation: Literal["<", ">"]
    limit: int
    status: int

    def trips(self, value: int) -> bool:
        """Whether a value is refused."""
        return value < self.limit if self.relation == "<" else value > self.limit


@dataclass(frozen=True)
class Program:
    """Guards and steps in order; ``result`` names the last value, in ``unit`` metres a count."""

    name: str
    formula: str
    equation: str
    registers: tuple[Register, ...]
    constants: tuple[Constant, ...]
    lines: tuple[Step | Guard, ...]
    result: str
    unit: float

    @property
    def steps(self) -> tuple[Step, ...]:
        """The lines that compute."""
        return tuple(line for line in self.lines if isinstance(line, Step))

    @property
    def word(self) -> Word:
        """Widest type in use."""
        return max((step.word for step in self.steps), key=lambda w: w.bits)


@dataclass(frozen=True)
class Status:
    """What a status means, what to do then, and whether the feed must stop until someone has looked."""

    meaning: str
    action: str
    stops: bool = False


OK = 0
STUCK = 2
STATUS = {
    OK: Status("length is valid", "take the length; sort by it"),
    1: Status(
        "dwell too short: no part, a chattering input or a part below the stated lengths",
        "reject what passed; three in a row: call maintenance (sensor of gate 1, its input filter)",
    ),
    STUCK: Status(
        "dwell too long: part stuck or slower than stated, or a part above the stated lengths",
        "stop the feed, clear gate 1, reject the part",
        stops=True,
    ),
    3: Status(
        "capture missing or too early: not captured, or faster than stated",
        "reject the part; three in a row: call maintenance (gate 2, its wiring)",
    ),
    4: Status(
        "late capture: second gate reached too late, part slower than stated or lost",
        "stop the feed, look for the part between the gates, reject it",
        stops=True,
    ),
    5: Status(
        "rear transit outside the stated speeds, or edges in the wrong order",
        "reject the part; three in a row: call maintenance (gate 2, parts too close)",
    ),
    6: Status(
        "third capture missing, too early or too late",
        "reject the part; three in a row: call maintenance (gate 3, its wiring)",
    ),
    7: Status(
        "length outside the stated range",
        "reject the part; three in a row: call maintenance (a wrong part, or the rig has changed)",
    ),
}
