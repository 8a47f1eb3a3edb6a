"""The distributions of JCGM 101:2008, clause 6.4, as spreads about a nominal value.

Each is symmetric about zero; ``deviation`` turns standard draws into deviations
from the nominal value, in the same unit as the spread.
"""

import math
from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw


class Spread(Protocol):
    """A distribution of zero mean."""

    word: ClassVar[str]

    @property
    def std(self) -> float:
        """Standard deviation; infinite where the distribution has none."""
        ...

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the standard uncertainty (JCGM 100, G.4); infinite if it is known."""
        ...

    def deviation(self, draw: Draw, name: str) -> Array:
        """Deviations from the nominal value, shape (draw.trials,)."""
        ...


@dataclass(frozen=True)
class Normal:
    """Gaussian of standard uncertainty ``std`` (JCGM 101, 6.4.7)."""

    word: ClassVar[str] = "normal"
    std: float
    degrees_of_freedom: float = math.inf

    def deviation(self, draw: Draw, name: str) -> Array:
        """See `Spread.deviation`."""
        return self.std * draw.normal(name)


@dataclass(frozen=True)
class Rectangular:
    """Uniform within plus or minus ``half_width`` (JCGM 101, 6.4.2)."""

    word: ClassVar[str] = "rectangular"
    half_width: float
    degrees_of_freedom: ClassVar[float] = math.inf

    @property
    def std(self) -> float:
        """Standard deviation, half-width over the square root of three."""
        return self.half_width / math.sqrt(3.0)

    def deviation(self, draw: Draw, name: str) -> Array:
        """See `Spread.deviation`."""
        return self.half_width * (2.0 * draw.uniform(name) - 1.0)


@dataclass(frozen=True)
class Trapezoidal:
    """Isosceles trapezoid, top ``top_ratio`` times as wide as its base (JCGM 101, 6.4.4).

    Ratio 0 is the triangular distribution (6.4.5), ratio 1 the rectangular one.
    """

    word: ClassVar[str] = "trapezoidal"
    half_width: float
    top_ratio: float
    degrees_of_freedom: ClassVar[float] = math.inf

    @property
    def std(self) -> float:
        """Standard deviation, a sqrt((1 + beta^2) / 6)."""
        return self.half_width * math.sqrt((1.0 + self.top_ratio**2) / 6.0)

    def deviation(self, draw: Draw, name: str) -> Array:
        """See `Spread.deviation`; by the inverse distribution function."""
        u = draw.uniform(name)
        beta = self.top_ratio
        tail = np.minimum(u, 1.0 - u)
        slope_share = (1.0 - beta) / (2.0 * (1.0 + beta))
        on_slope = 1.0 - np.sqrt(2.0 * (1.0 - beta**2) * np.minimum(tail, slope_share))
        on_top = (1.0 + beta) * (0.5 - tail)
        size = np.where(tail < slope_share, on_slope, on_top)
        return self.half_width * np.copysign(size, u - 0.5)


@dataclass(frozen=True)
class Triangular(Trapezoidal):
    """Symmetric triangle within plus or minus ``half_width`` (JCGM 101, 6.4.5)."""

    word: ClassVar[str] = "triangular"
    top_ratio: float = 0.0


@dataclass(frozen=True)
class Arcsine:
    """U-shaped, of a sinusoidal cycle of amplitude ``half_width`` (JCGM 101, 6.4.6)."""

    word: ClassVar[str] = "arcsine"
    half_width: float
    degrees_of_freedom: ClassVar[float] = math.inf

    @property
    def std(self) -> float:
        """Standard deviation, half-width over the square root of two."""
        return self.half_width / math.sqrt(2.0)

    def deviation(self, draw: Draw, name: str) -> Array:
        """See `Spread.deviation`."""
        return self.half_width * np.sin(np.pi * (draw.uniform(name) - 0.5))


@dataclass(frozen=True)
class StudentT:
    """Scaled t-distribution of a mean of few indications (JCGM 101, 6.4.9).

    ``scale`` is s / sqrt(n), the standard uncertainty of JCGM 100, 4.2.3; the
    distribution itself is wider by sqrt(nu / (nu - 2)).
    """

    word: ClassVar[str] = "student-t"
    scale: float
    degrees_of_freedom: float

    @property
    def std(self) -> float:
        """Standard deviation; infinite up to two degrees of freedom."""
        nu = self.degrees_of_freedom
        return self.scale * math.sqrt(nu / (nu - 2.0)) if nu > 2.0 else math.inf

    def deviation(self, draw: Draw, name: str) -> Array:
        """See `Spread.deviation`; by the inverse distribution function."""
        from scipy.special import stdtrit  # deferred: costs start-up time, seldom used

        deviates: Array = stdtrit(self.degrees_of_freedom, draw.uniform(name))
        return self.scale * deviates
