"""How the edges of the filtered inputs get to the counter: what every way of it is asked."""

from abc import ABC, abstractmethod

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw
from gatesim.ground.sampling import Sampling
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table, TableValues


class Timing(ABC):
    """Maps the time of an edge to the time at which the counter acts on it."""

    @abstractmethod
    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """Transition lists (n, k) of one gate -> (n, m)."""


class TimingTable(Table):
    """What a user may write of it, and what others ask."""

    kind: str

    @abstractmethod
    def build(self, values: TableValues) -> Timing:
        """The stage, from a value for each quantity of the table."""

    @property
    @abstractmethod
    def setting(self) -> str:
        """As the commissioning sheet has it; completes "edges taken ..."."""

    @property
    @abstractmethod
    def effect(self) -> str:
        """What of it moves a reading, as a cause of an error; empty if nothing can."""

    @property
    @abstractmethod
    def place(self) -> str:
        """Where edges wait for the counter; completes "too short for ..."."""

    @property
    @abstractmethod
    def when_missed(self) -> str:
        """How a part can be lost in it; completes "The gate is dark for 3 ms, ..."."""

    @property
    @abstractmethod
    def against_loss(self) -> str:
        """What helps where parts are lost in it, a clause."""

    @abstractmethod
    def reason(self, speed: float) -> str:
        """Why it moves a reading, of a part that leaves gate 1 at a speed (m/s); empty if it cannot."""

    @abstractmethod
    def side_note(self, speed: float) -> str:
        """What it costs a part of that greatest speed (m/s); empty where nothing is worth telling."""

    @abstractmethod
    def sampling(self) -> Sampling | None:
        """How it samples its inputs, if it does; all gates share the samples."""

    @abstractmethod
    def smoothed(self) -> "TimingTable":
        """One that acts at the mean delay of this one without sampling; itself if it samples nothing."""

    @classmethod
    def suggested(cls, instead_of: str) -> Suggestion | None:
        """Itself for a rig that has another kind, if it costs no reading anything."""
        return None
