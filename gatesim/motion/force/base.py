"""What every force along the path has in common.

A force is strength(x) * law(v): between kinks that are known beforehand its strength is a polynomial in
position, of the first degree as a rule; its law depends on speed alone. The integrator goes from kink to
kink, where everything is smooth.
"""

from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal, Protocol

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.caution import Caution
from gatesim.ground.quantity import Quantity
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table, TableValues
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
class Crest:
    """Above ``speed`` (m/s) a force falls the faster the part gets: it can run away from it.

    Judged at the last node with the leading end from ``low`` to ``high`` (m).
    """

    low: Scalar
    high: Scalar
    speed: Scalar


@dataclass(frozen=True)
class Hold:
    """Where a force has hold of a part; travel of the leading end in m, of the first trial.

    It takes hold at ``enters``, acts in full from ``full`` to ``until`` (no further than ``full``: nowhere
    for long), and has let go at ``leaves``. ``uneven``: what its full strength lacks at most, relative.
    """

    enters: float
    full: float
    until: float
    leaves: float
    uneven: float = 0.0


class Force(ABC):
    """A force along the path, positive downhill; frozen dataclasses of floats and (n,) arrays."""

    steady: ClassVar[bool]
    """True when the law is 1: the force does not depend on speed. Its strength then is linear."""

    degree: ClassVar[int] = 1
    """Of the polynomial that the strength is between kinks."""

    @abstractmethod
    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Positions of the leading end (m) at which the strength, or its slope, jumps."""

    @abstractmethod
    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """Factor of the law at positions x (..., n); the force in N when ``steady``."""

    @abstractmethod
    def law(self, v: Array) -> Array:
        """Dependence on speed v (m/s, positive); shape of v."""

    @abstractmethod
    def slope(self, v: Array) -> Array:
        """Derivative of the law with respect to speed; shape of v."""

    def rates(self, v: Array) -> tuple[Array, Array]:
        """The law and its derivative, which some have in common work."""
        return self.law(v), self.slope(v)

    def alone(self, drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array] | None:
        """Speed (m/s) and time (s) after ``size`` (m) where this force has a constant strength; all (n,).

        Strength is divided by the moved mass, drive is what else accelerates, in m/s^2. NaN where the
        formula does not serve; None if the law has none: see gatesim.motion.closedform.
        """
        return None

    def hold(self, part: Body) -> Hold | None:
        """Where along the path it has hold of the part; None, by default, if that is not told."""
        return None

    @abstractmethod
    def added_mass(self, x: Array) -> Scalar:
        """Mass (kg) that moves with the part at positions x."""

    @abstractmethod
    def crest(self, part: Body) -> Crest | None:
        """Where and above which speed the part runs away from this force; None if it cannot."""

    @abstractmethod
    def runaway_words(self, part: Body, path: Path, ratio: float, gain: float) -> str:
        """Sentences on the first trial, which runs away at ``ratio`` times the crest's speed.

        gain: its acceleration there in m/s^2.
        """

    def figures(self, part: Body, path: Path) -> Mapping[str, float | None]:
        """What is worth knowing of it for the first trial, SI, units in the names; nothing by default."""
        return {}

    def words(self, part: Body, path: Path) -> str:
        """Its figures in a sentence or two; nothing by default."""
        return ""


@dataclass(frozen=True)
class Drawn:
    """What is drawn of a force: magnets over a zone, a spring drawn back, a belt; travel in m.

    ``end`` None: as far as the path. ``legend`` says what in the drawing is what. ``start_key`` and
    ``end_key``: keys of the force's table that move its start, and its end from there; empty: none does.
    """

    figure: Literal["magnets", "spring", "belt"]
    start: float
    end: float | None
    legend: str
    start_key: str = ""
    end_key: str = ""


@dataclass(frozen=True)
class Situation:
    """Where a force may be bought for: nominal values, SI.

    ``speed`` of the leading end at gate 1; ``first`` and ``last`` gate from the release;
    ``without_devices``: no device that makes a force stands along the path yet.
    """

    length: float
    mass: float | None
    inertia_factor: float
    slope: float
    friction: float
    gravity: float
    first: float
    last: float
    speed: float
    without_devices: bool


class CrossSection(Protocol):
    """What a force may want to know of the part's table: its material and its section."""

    @property
    def material(self) -> str | None:
        """Word of `gatesim.ground.material`."""

    @property
    def section(self) -> str:
        """Rectangular or round."""

    @property
    def width(self) -> Quantity | None:
        """Along the magnets' faces."""

    @property
    def height(self) -> Quantity | None:
        """Away from the magnets."""

    @property
    def wall(self) -> Quantity | None:
        """Of a hollow part."""

    @property
    def conductivity(self) -> Quantity | None:
        """In S/m."""


class ForceTable(Table, ABC):
    """What a user may write of a force, and all that others ask of it."""

    key: ClassVar[str]
    """Name of its table in a scenario."""

    needs_mass: ClassVar[bool]
    """Whether the motion depends on the part's mass."""
    drives: ClassVar[bool]
    """Whether it moves a part by itself: then the release is not one from rest under weight alone."""
    carries: ClassVar[bool]
    """Whether it carries the part at a speed of its own, so that an encoder can ride on it."""
    takes_rolling: ClassVar[bool]
    """Whether it may act on a part that rolls."""

    @abstractmethod
    def check(self) -> None:
        """Raise Misfit where its keys do not fit together."""

    def check_part(self, part: CrossSection) -> None:
        """Raise Misfit where the part cannot be under this force."""

    @abstractmethod
    def build(self, values: TableValues, part: Body, path: Path) -> Any:
        """The stage from one value, or (n,) values, for each quantity. May raise Misfit."""

    @abstractmethod
    def caution(self) -> Caution | None:
        """What can hurt about it."""

    @abstractmethod
    def drawn(self) -> Drawn | None:
        """What is drawn of it, at nominal values."""

    @classmethod
    def suggested(cls, situation: Situation) -> Suggestion | None:
        """What to buy to have this force; nothing by default."""
        return None

    def limits(self) -> tuple[str, ...]:
        """Sentences on what is taken for granted about it, and how to do better; none by default."""
        return ()

    def stronger(self) -> Suggestion | None:
        """What to buy to have more of it; nothing by default."""
        return None

    def random_phases(self) -> tuple[str, ...]:
        """Keys of phases that are others in every passage; none."""
        return ()

    def at_mean_phase(self) -> "ForceTable":
        """Without what averages out over its random phases; the very same if there are none."""
        return self

    def later(self, values: TableValues, release: Array) -> Mapping[str, Scalar]:
        """Values by key that a part released at ``release`` (n,) s meets instead; none by default."""
        return {}
