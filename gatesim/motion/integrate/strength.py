"""What acts along a span of the path: a value that is linear, or a polynomial, in position."""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from gatesim.ground.arrays import Array, Flags, Rows, Scalar
from gatesim.motion.integrate.sums import weighted


@dataclass(frozen=True)
class Line:
    """A value (n,) at the start of the span and its slope per metre (n,), None if 0 for all trials."""

    start: Array
    slope: Array | None

    def at(self, u: Array | None) -> Array:
        """Value at distances u (..., n) into the span (None: at its start)."""
        if self.slope is None or u is None:
            return self.start
        value = self.slope * u
        value += self.start
        return value

    def level(self) -> Flags:
        """Trials (n,) for which it is one constant."""
        return np.ones(self.start.shape, bool) if self.slope is None else self.slope == 0

    def pieces(self, size: Array) -> Array:
        """How much of a piece of a profile ``size`` (n,) is: none."""
        return np.zeros_like(size)

    def shifted(self, u: Array) -> "Line":
        """The same beginning ``u`` (n,) later."""
        return Line(self.at(u), self.slope)

    def take(self, rows: Rows) -> "Line":
        """Select trials."""
        return Line(self.start[rows], None if self.slope is None else self.slope[rows])


@dataclass(frozen=True)
class Polynomial:
    """A value as powers of -1 to 1 along the span.

    powers: (d + 1, n) coefficients, constant first. begin: (n,) in m, where on the span distances count from;
    per_metre: (n,) from metres to that scale.
    """

    powers: Array
    begin: Array
    per_metre: Array

    @property
    def start(self) -> Array:
        """Value (n,) at the start."""
        return self.at(None)

    def at(self, u: Array | None) -> Array:
        """Value at distances u (..., n); the very constant where all other coefficients are 0."""
        place = self.begin * self.per_metre if u is None else (u + self.begin) * self.per_metre
        place -= 1
        value: Array = self.powers[-1] * place
        for power in self.powers[-2:0:-1]:
            value += power
            value *= place
        value += self.powers[0]
        return value

    def level(self) -> Flags:
        """Trials (n,) for which it is one constant."""
        same: Flags = (self.powers[1:] == 0).all(axis=0)
        return same

    def pieces(self, size: Array) -> Array:
        """How much of a piece of a profile ``size`` (n,) is."""
        return np.where(self.level(), 0.0, size * self.per_metre / 2)

    def shifted(self, u: Array) -> "Polynomial":
        """The same beginning ``u`` (n,) later."""
        return Polynomial(self.powers, self.begin + u, self.per_metre)

    def take(self, rows: Rows) -> "Polynomial":
        """Select trials."""
        return Polynomial(self.powers[:, rows], self.begin[rows], self.per_metre[rows])


def within(left: Array, size: Array) -> tuple[Array, Array]:
    """Quarter points of spans: not their ends, where a strength that jumps at a kink has no value."""
    return left + 0.25 * size, left + 0.75 * size


def line_through(at_near: Scalar, at_far: Scalar, inertia: Scalar, size: Array) -> Line:
    """What is linear on spans, from its values at the quarter points, divided by ``inertia``."""
    with np.errstate(over="ignore"):  # a part of next to no mass: more steps than are taken
        start = np.broadcast_to(np.asarray(at_near / inertia), size.shape)
    change = at_far - at_near
    if not np.any(change):
        return Line(start, None)
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # spans of no size have no slope
        slope = np.where(size > 0, change * 2 / (size * inertia), 0.0)
    return Line(start - slope * (0.25 * size), slope)


@lru_cache
def places(degree: int) -> tuple[Array, Array]:
    """Places (d + 1,) from -1 to 1, not the ends, and the matrix from what is added there to its powers.

    Roots of a Chebyshev polynomial (common practice, no source).
    """
    place = -np.cos(np.pi * (np.arange(degree + 1) + 0.5) / (degree + 1))
    matrix: Array = np.linalg.inv(place[:, None] ** np.arange(degree + 1))
    return place, matrix


def polynomial_through(values: Array, inertia: Scalar, size: Array) -> Line | Polynomial:
    """What is a polynomial on spans, from its values (d + 1, n) at `places`, divided by ``inertia``."""
    first = values[0]
    change = values[1:] - first
    if not change.any():
        return Line(np.asarray(first / inertia), None)
    matrix = places(len(values) - 1)[1]
    powers = weighted(matrix[:, 1:], change)
    powers[0] += first
    with np.errstate(divide="ignore"):  # spans of no size have one value
        per_metre = np.where(size > 0, 2 / size, 0.0)
    return Polynomial(powers / inertia, np.zeros_like(size), per_metre)
