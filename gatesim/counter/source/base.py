"""What is counted: what every source of counts is asked."""

from abc import ABC, abstractmethod
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table, TableValues

Travel = Callable[[Array], Array]
"""Distance in m that a belt or part has moved at times (n, k)."""


class Source(ABC):
    """Counts since the start of a cycle."""

    @property
    @abstractmethod
    def counts_per_pulse(self) -> int:
        """Counts that one pulse at the input makes."""

    @abstractmethod
    def phase(self, draw: Draw) -> Array:
        """Draw what the source starts with, (n, 2): position between two counts, angle of the roller."""

    @abstractmethod
    def progress(self, start: Array, times: Array, phase: Array) -> Array:
        """Counts, not rounded, from ``start`` (n,) to ``times`` (n, k)."""

    @abstractmethod
    def whole(self, progress: Array, phase: Array) -> Array:
        """Counts that a register holds after so much progress, (n, k)."""


@dataclass(frozen=True)
class Imperfection:
    """What a real source has and an ideal one has not: ``inputs`` by path, with the ideal value of each.

    ``reason``: why it moves a reading, in a sentence.
    """

    key: str
    name: str
    inputs: tuple[tuple[str, float], ...]
    reason: str


class SourceTable(Table):
    """What a user may write of a source under ``[counter]``, and what others ask of it."""

    key: ClassVar[str]
    """Name of its table in ``[counter]``; empty for a source whose keys stand in ``[counter]`` itself."""
    beside: ClassVar[type[Table] | None]
    """Keys that it has in ``[counter]`` itself, all of them optional there."""
    purpose: ClassVar[str]
    """What its table is for, in a sentence; empty without one."""
    called_for: ClassVar[str]
    """What to write to have it, for the message where nothing is stated; {key} is the counter's table."""
    word: ClassVar[str]
    """What it is, with its article."""
    measures: ClassVar[Literal["time", "travel"]]
    """What its counts go with."""

    @classmethod
    def stated(cls, counter: Any) -> "SourceTable | None":
        """The source of its kind that a `gatesim.counter.table.CounterTable` states, None if it does not."""
        found: SourceTable | None = getattr(counter, cls.key)
        return found

    @abstractmethod
    def build(self, counter: TableValues, travel: Travel) -> Source:
        """The stage, from a value for each quantity of ``[counter]`` and how far what turns it has moved."""

    @property
    @abstractmethod
    def turned_by(self) -> Literal["", "belt", "part"]:
        """What it follows; empty if it counts time."""

    @property
    @abstractmethod
    def passes_filter(self) -> bool:
        """Whether its pulses pass the input filter."""

    @property
    @abstractmethod
    def tick(self) -> float:
        """Nominal time of one count in s; NaN if it counts travel."""

    @property
    @abstractmethod
    def pitch(self) -> float:
        """Nominal travel of one count in m; NaN if it counts time."""

    @property
    @abstractmethod
    def counts(self) -> str:
        """What is counted, in the plural."""

    @property
    @abstractmethod
    def pulses(self) -> str:
        """The pulses at its input, whose they are; begins a sentence."""

    @property
    @abstractmethod
    def step(self) -> str:
        """From one count to the next; completes "one every ..."."""

    @property
    @abstractmethod
    def setting(self) -> str:
        """As the commissioning sheet has it."""

    @property
    @abstractmethod
    def imperfections(self) -> tuple[Imperfection, ...]:
        """What of it may move a reading, beside whole counts."""

    @abstractmethod
    def steps(self, progress: Array) -> Array:
        """Phases (k,) at which registers that stand at ``progress`` (r,) counts take their next step."""

    def check(self, key: str, *, belt: bool) -> None:
        """Raise Misfit where it does not fit a rig with a belt or without; ``key`` of the counter's table."""

    @classmethod
    def suggested(cls, *, belt: bool) -> Suggestion | None:
        """Itself for a rig that counts something else, with or without a belt."""
        return None

    def improved(self) -> Suggestion | None:
        """A better one of its kind."""
        return None
