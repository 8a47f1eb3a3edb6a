"""Polynomials in several coordinates: products of Chebyshev polynomials, their fit, their values.

A term is a tuple of degrees k, one a coordinate, the place along the path last. Those with
sum(k_i / n_i) <= 1 are kept, n_i being the degree that coordinate takes by itself: where a function is
smooth, products of high degrees matter least. Coefficients are a least-squares fit to twice as many points as
terms, evenly spread but for a cosine, which makes such fits well conditioned (Cohen and Migliorati, Optimal
weighted least-squares methods, 2017, where points are drawn at random from that density; from memory).
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array

AT_ONCE = 4096
"""Trials worked on together: few enough for the cache."""

SPARE = 10
"""Points beyond twice the number of terms."""


@dataclass(frozen=True)
class Terms:
    """Which terms there are; ``degrees``: of each coordinate by itself, that of the place last."""

    degrees: tuple[float, ...]

    @cached_property
    def parts(self) -> tuple[tuple[int, ...], ...]:
        """Degrees in all coordinates but the place, in lexical order."""
        return tuple(dict.fromkeys(term[:-1] for term in self.every))

    @cached_property
    def counts(self) -> tuple[int, ...]:
        """How many degrees in the place each of ``parts`` goes with, from 0 up."""
        found: dict[tuple[int, ...], int] = {}
        for term in self.every:
            found[term[:-1]] = found.get(term[:-1], 0) + 1
        return tuple(found.values())

    @cached_property
    def every(self) -> tuple[tuple[int, ...], ...]:
        """All terms in lexical order."""
        return tuple(_within(self.degrees, 1.0 + 1e-9))

    @property
    def points(self) -> Array:
        """Where to fit, (n, coordinates) in -1..1."""
        return spread_points(len(self.degrees), 2 * len(self.every) + SPARE)

    def fitted(self, values: Array) -> Array:
        """Coefficients (cells, parts, places' degrees, columns).

        From values (cells, n, columns) at ``points``.
        """
        table = _table(self.points, np.array(self.every))  # whose condition is 10 to 20
        inverse = np.linalg.solve(table.T @ table, table.T)
        flat = np.einsum("tn,cnp->ctp", inverse, values)
        found = np.zeros((flat.shape[0], len(self.parts), max(self.counts), flat.shape[2]))
        ends = np.cumsum(self.counts)
        for number, (end, count) in enumerate(zip(ends.tolist(), self.counts, strict=True)):
            found[:, number, :count] = flat[:, end - count : end]
        return found

    def values(self, coefficients: Array, x: Array, z: Array) -> Array:
        """Values (columns, n) at x (coordinates but the place, n) and places z (columns, n).

        ``coefficients`` of one cell. Each value depends on its own trial alone, bit for bit.
        """
        n = z.shape[1]
        found = np.empty(z.shape)
        for first in range(0, n, AT_ONCE):
            rows = slice(first, min(first + AT_ONCE, n))
            found[:, rows] = self._values(coefficients, x[:, rows], z[:, rows])
        return found

    def _values(self, coefficients: Array, x: Array, z: Array) -> Array:
        tables = [_chebyshev(one, top) for one, top in zip(x, np.max(self.parts, axis=0), strict=True)]
        width = coefficients.shape[1]
        sums, product = np.zeros((width, *z.shape)), np.empty((width, *z.shape))
        each = zip(self.counts, coefficients[..., None], _products(self.parts, tables), strict=True)
        for count, factors, term in each:
            np.multiply(factors[:count], term, out=product[:count])
            sums[:count] += product[:count]
        found: Array = sums[0]
        for power, polynomial in zip(sums[1:], _chebyshev(z, width - 1)[1:], strict=True):
            found += power * polynomial
        return np.asarray(found)


def _products(parts: Sequence[tuple[int, ...]], tables: Sequence[Sequence[Array]]) -> Iterator[Array | float]:
    """The product of the polynomials of each of ``parts``; what two in turn have in common is kept."""
    kept: list[Array | float] = [1.0]
    last: tuple[int, ...] = ()
    for part in parts:
        same = next((i for i, (a, b) in enumerate(zip(part, last, strict=False)) if a != b), len(last))
        del kept[same + 1 :]
        for degree, table in zip(part[same:], tables[same:], strict=True):
            kept.append(kept[-1] * table[degree] if degree else kept[-1])
        yield kept[-1]
        last = part


def _chebyshev(x: Array, top: int) -> list[Array]:
    """T_0 to T_top at x, by the recurrence of Abramowitz and Stegun, 22.7.4."""
    found = [np.ones_like(x), x]
    for _ in range(top - 1):
        found.append(2.0 * x * found[-1] - found[-2])
    return found[: top + 1]


def _table(points: Array, every: NDArray[np.int64]) -> Array:
    """Values (n, terms) of all terms at points (n, coordinates)."""
    found = np.ones((len(points), len(every)))
    for x, degrees in zip(points.T, every.T, strict=True):
        found *= np.array(_chebyshev(x, int(degrees.max())))[degrees].T
    return found


def _within(degrees: Sequence[float], room: float) -> Iterator[tuple[int, ...]]:
    """Terms with sum(k_i / n_i) <= room, in lexical order."""
    if not degrees:
        yield ()
        return
    first, *others = degrees
    top = int(first * room) if first > 0 else 0
    for k in range(top + 1):
        for rest in _within(others, room - (k / first if k else 0.0)):
            yield (k, *rest)


def _even(dimensions: int, rows: slice) -> Array:
    """These points (rows, dimensions) of an even sequence in 0..1: multiples less their whole part.

    Of powers of the number g that solves g^(d + 1) = g + 1, in one dimension the golden ratio (from memory).
    """
    g = 2.0
    for _ in range(64):
        g = (1.0 + g) ** (1.0 / (dimensions + 1))
    numbers = np.arange(rows.start, rows.stop)[:, None]
    return np.asarray((0.5 + numbers * g ** -np.arange(1.0, dimensions + 1.0)) % 1.0)


def spread_points(dimensions: int, count: int) -> Array:
    """Points (count, dimensions) in -1..1, denser towards the ends as Chebyshev nodes are."""
    return np.asarray(np.cos(np.pi * _even(dimensions, slice(0, count))))


def even_points(dimensions: int, count: int) -> Array:
    """Points (count, dimensions) in -1..1, even, and none of `spread_points`."""
    return np.asarray(2.0 * _even(dimensions, slice(1_000_000, 1_000_000 + count)) - 1.0)
