"""What a magnet brake is made of: a row of magnets and the bar that passes it, or a magnet and its tube."""

from dataclasses import dataclass
from math import inf, pi

import numpy as np

from gatesim.ground.arrays import Array

MU_0 = 1.25663706212e-6
"""Magnetic constant in N/A^2 (CODATA 2018; from memory, the change of 2022 is in the tenth digit)."""


@dataclass(frozen=True)
class Blocks:
    """Equal block magnets in a row along the path, magnetised towards the part; lengths in m.

    length, width, height: edges along the path, across it, and towards the part. gap: from a face to the
    part's surface. pitch: from one magnet to the next. alternating: whether each pole differs from the
    one before it. both_sides: a second row opposite the first, unlike poles facing.
    """

    length: float
    width: float
    height: float
    gap: float
    count: int = 1
    pitch: float = 0.0
    alternating: bool = True
    both_sides: bool = False

    @property
    def extent(self) -> float:
        """Length of the row in m."""
        return (self.count - 1) * self.pitch + self.length

    @property
    def finest(self) -> float:
        """Wave number in 1/m above which the field at the part is nothing: exp(-2 k gap) is 1e-7 there."""
        return 8 / self.gap

    def poles(self) -> Array:
        """Sign of each magnet (count,)."""
        return np.where(self.alternating & (np.arange(self.count) % 2 == 1), -1.0, 1.0)

    def spectrum(self, k: Array) -> Array:
        """Squared Fourier transform along the path (m^2) of the row's profile of signs, at k (n,) in 1/m."""
        phase = np.exp(-1j * np.multiply.outer(k, np.arange(self.count) * self.pitch))
        square: Array = np.abs(phase @ self.poles()) ** 2
        return square * (self.length * np.sinc(k * self.length / (2 * pi))) ** 2


@dataclass(frozen=True)
class Bar:
    """A straight conductor of one cross-section; lengths in m.

    width: across the path, along the magnets' faces. height: away from the magnets (a round bar has its
    diameter in both). wall: thickness of a hollow bar's wall, infinite if it is solid.
    """

    width: float
    height: float
    wall: float = inf
    round: bool = False

    @property
    def solid(self) -> bool:
        """Whether the wall leaves no hole."""
        return 2 * self.wall >= min(self.width, self.height)


@dataclass(frozen=True)
class Tube:
    """Magnet of ``radius`` and ``height`` in a tube of radii ``inner`` < ``outer``, coaxial; lengths in m."""

    radius: float
    height: float
    inner: float
    outer: float

    def __post_init__(self) -> None:
        if not 0 < self.radius < self.inner < self.outer:
            raise ValueError(
                f"radii must be 0 < magnet {self.radius} < inner {self.inner} < outer {self.outer}"
            )
