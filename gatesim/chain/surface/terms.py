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
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array

AT_ONCE, WHOLE = 1024, 64
"""Trials worked on together, few enough for the cache, and of which a whole number is: the sums over terms
then take the same way for all of them."""

ROOM = 1.0 + 1e-9
"""What sum(k_i / n_i) may be: 1, but for rounding."""

SPARE = 10
"""Points beyond twice the number of terms."""


@dataclass(frozen=True)
class Terms:
    """Which terms there are; ``degrees``: of each coordinate by itself, that of the place last."""

    degrees: tuple[float, ...]

    @cached_property
    def every(self) -> tuple[tuple[int, ...], ...]:
        """All terms in lexical order."""
        return tuple(_within(self.degrees, ROOM))

    @cached_property
    def counts(self) -> dict[tuple[int, ...], int]:
        """Of each product of polynomials in all coordinates but the place: with how many of it it goes.

        In lexical order; the degrees in the place are from 0 up.
        """
        return {part: len(list(same)) for part, same in groupby(self.every, lambda term: term[:-1])}

    @cached_property
    def going_with(self) -> tuple[NDArray[np.intp], ...]:
        """The products that go with each degree in the place."""
        counts = np.array(list(self.counts.values()))
        return tuple(np.flatnonzero(counts > degree) for degree in range(int(counts.max())))

    @cached_property
    def runs(self) -> tuple[tuple[tuple[int, ...], int], ...]:
        """Products that differ in the last coordinate alone: degrees in the others, and how many."""
        return tuple((head, len(list(run))) for head, run in groupby(self.counts, lambda part: part[:-1]))

    @property
    def points(self) -> Array:
        """Where to fit, (n, coordinates) in -1..1."""
        return spread_points(len(self.degrees), 2 * len(self.every) + SPARE)

    def fitted(self, values: Array) -> tuple[Array, ...]:
        """Coefficients from values (cells, n, columns) at ``points``.

        Of every degree in the place those of the products that it goes with, (cells, products, columns).
        """
        table = _table(self.points, np.array(self.every))  # whose condition is 10 to 20
        inverse = np.linalg.solve(table.T @ table, table.T)
        flat = np.einsum("tn,cnp->ctp", inverse, values)
        begins = np.cumsum([0, *self.counts.values()])
        return tuple(flat[:, begins[which] + degree] for degree, which in enumerate(self.going_with))

    def values(self, coefficients: Sequence[Array], x: Array, z: Array) -> Array:
        """Values (columns, n) at x (coordinates but the place, n) and places z (columns, n).

        ``coefficients`` as `fitted` has them, of one cell. Each value depends on its own trial alone.
        """
        n = z.shape[1]
        found = np.empty((len(z), n))
        for first in range(0, n, AT_ONCE):
            rows = slice(first, min(first + AT_ONCE, n))
            room = ((0, 0), (0, -(rows.stop - first) % WHOLE))
            own = self._values(coefficients, np.pad(x[:, rows], room), np.pad(z[:, rows], room))
            found[:, rows] = own[:, : rows.stop - first]
        return found

    def _values(self, coefficients: Sequence[Array], x: Array, z: Array) -> Array:
        products = self._products(x)
        found = np.einsum("tp,tn->pn", coefficients[0], products)
        of_place = _chebyshev(z, len(coefficients) - 1)
        for degree in range(1, len(coefficients)):
            some = products[self.going_with[degree]]
            found += of_place[degree] * np.einsum("tp,tn->pn", coefficients[degree], some)
        return np.asarray(found)

    def _products(self, x: Array) -> Array:
        """The products (products, n) at x."""
        n = x.shape[1]
        if not len(x):
            return np.ones((1, n))
        tops = np.max(list(self.counts), axis=0)
        tables = [np.array(_chebyshev(one, top)) for one, top in zip(x, tops.tolist(), strict=True)]
        found, begin = np.empty((len(self.counts), n)), 0
        kept = [np.ones(n)]  # products of more and more coordinates of the last head
        last: tuple[int, ...] = ()
        for head, length in self.runs:
            same = next((i for i, (a, b) in enumerate(zip(head, last, strict=False)) if a != b), len(last))
            del kept[same + 1 :]
            for table, degree in zip(tables[same:-1], head[same:], strict=True):
                kept.append(kept[-1] * table[degree] if degree else kept[-1])
            np.multiply(kept[-1], tables[-1][:length], out=found[begin : begin + length])
            last, begin = head, begin + length
        return found


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


def term_count(degrees: Sequence[float]) -> int:
    """How many terms `Terms` of these degrees has, without listing them."""
    kept = [n for n in degrees if n]
    total: Array = np.zeros(())
    for number, n in enumerate(kept):
        axis = np.arange(int(n) + 1) / n
        total = total + axis.reshape([-1 if i == number else 1 for i in range(len(kept))])
    return int(np.count_nonzero(total <= ROOM))


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
