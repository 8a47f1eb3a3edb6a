"""What every input filter is asked: as a table of a scenario, and as a stage."""

from abc import ABC, abstractmethod
from typing import ClassVar

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.sampling import Sampling
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table, TableValues


class Filter(ABC):
    """Turns the sensor's transitions into those that the counter sees."""

    @abstractmethod
    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """Filter transition lists (n, k) -> (n, m), both as in `gatesim.ground.transition`."""

    @property
    @abstractmethod
    def minimum_pulse_width(self) -> float:
        """Duration in s from which a level is accepted whatever its phase and what came before."""

    @property
    @abstractmethod
    def stretches_to(self) -> Scalar:
        """Duration in s of the pulse that it makes of any shorter one; 0 if it makes none longer."""


class FilterTable(Table):
    """What a user may write of an input filter, and what others ask of it."""

    called: ClassVar[tuple[str, ...]] = ("debounce", "input_filter", "debouncing")
    kind: str

    @abstractmethod
    def build(self, values: TableValues) -> Filter:
        """The stage, from a value for each quantity of the table."""

    @property
    @abstractmethod
    def setting(self) -> str:
        """As the commissioning sheet has it."""

    @property
    @abstractmethod
    def against_chatter(self) -> str:
        """What it does with extra transitions that do not get through; completes "the filter ..."."""

    @property
    @abstractmethod
    def when_stretched(self) -> str:
        """Of a part whose pulse it stretched; completes "The gate is dark for 2 ms only, ..."."""

    @abstractmethod
    def sampling(self, name: str) -> Sampling | None:
        """How it samples, if it does, with the draws of a gate under ``name`` as in `Filter.pass_on`."""

    @abstractmethod
    def smoothed(self) -> "FilterTable":
        """A filter that acts at the mean delay of this one without sampling; itself if it samples nothing."""

    def check(self, key: str) -> None:
        """Raise Misfit where its values contradict each other; ``key`` of the table."""

    @classmethod
    def kind_of_one_time(cls) -> str:
        """Its kind, if one time describes it wholly (see `of_time`); empty, by default, if not."""
        return ""

    @classmethod
    def of_time(cls, time: Scalar) -> Filter:
        """The stage with that time (or one a trial) in s, of a filter that one time describes wholly."""
        raise NotImplementedError(f"{cls.__name__} is not described by one time")

    @classmethod
    def suggested(cls, chatter: float) -> Suggestion | None:
        """Itself for a sensor that chatters for so long (s) after an edge, where it helps without harm."""
        return None
