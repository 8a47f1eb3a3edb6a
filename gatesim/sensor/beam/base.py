"""What every light beam is asked: as a table of a scenario, and as a stage."""

from abc import ABC, abstractmethod

from gatesim.ground.arrays import Array
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table
from gatesim.ground.text import as_mm
from gatesim.part import Piece


class Beam(ABC):
    """A uniformly lit beam: a frozen dataclass that two rigs with the same beam share."""

    offset: float
    """Distance of its middle from the part's axis in m."""

    @property
    @abstractmethod
    def extent(self) -> float:
        """Width along the path in m."""

    @property
    @abstractmethod
    def area(self) -> float:
        """Lit area in m^2."""

    @abstractmethod
    def half_chord(self, along: Array) -> Array:
        """Half of the beam's extent across the path at a distance along it from the middle."""

    @abstractmethod
    def half_chord_integral(self, along: Array) -> Array:
        """Integral of the half chord from the middle."""

    @abstractmethod
    def meetings(self, piece: Piece, travel: Array) -> Array:
        """Places along it, (k, m), where its edge meets a piece's at travels (k,); NaN where it does not."""

    @abstractmethod
    def past_edge(self, share: Array, turned: Array) -> Array:
        """How far (m) a straight edge is past the beam's middle when it covers a share of it.

        ``turned``: angle in rad between the edge and the path. Shapes broadcast.
        """


class BeamTable(Table):
    """What a user may write of a beam, and what others ask of it."""

    shape: str

    @abstractmethod
    def build(self) -> Beam:
        """The stage: a beam is the same in every trial."""

    @property
    @abstractmethod
    def reach(self) -> float:
        """Greatest distance of its light from the part's axis in m."""

    @abstractmethod
    def narrower(self) -> Suggestion | None:
        """Half as wide; None if it has no width."""


def half_as_wide(key: str, width: float) -> Suggestion:
    """Half of a width (m) of ``[sensor.beam]``."""
    new = as_mm(0.5 * width)
    how = f"{key} {new} instead of {as_mm(width)}"
    return Suggestion("beam half as wide", how, {f"sensor.beam.{key}": new})
