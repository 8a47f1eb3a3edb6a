"""Into how many cells to cut each coordinate, and of which degree a polynomial on a cell is to be.

Both are told by how fast Chebyshev coefficients fall along each coordinate by itself: by a factor rho a
degree, which says how far beyond the range the function stops being smooth (Trefethen, Approximation Theory
and Approximation Practice, 2013, theorem 8.2; from memory).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np

from gatesim.chain.surface.terms import term_count
from gatesim.ground.arrays import Array

PROBES = 33
"""Points along a coordinate."""

MARGIN = 0.75
"""Degrees more than a coordinate takes."""

MOST_DIAGONAL = 4
"""Coordinates whose signs are all tried along diagonals."""

MOST_CELLS = 256

A_FIT = 4e-9
"""Seconds for the cube of the terms, to solve for as many coefficients a few times over (measured)."""

A_TERM, A_CALL, A_STEP = 3e-10, 1e-10, 4e-7
"""Seconds a trial: for a term of one column, for a cell's array calls a term (in a block of 10,000), for an
explicit step of the equation of motion. Measured, and only their ratios matter."""


@dataclass(frozen=True)
class Decay:
    """How Chebyshev coefficients along one coordinate fall: ``size`` of the first, then by ``rho``.

    ``degree``: from which on they are below the tolerance.
    """

    size: float
    rho: float
    degree: int

    def degree_in(self, cells: int, tolerance: float) -> float:
        """Degree that it takes on the worst of so many cells."""
        if self.degree == 0 or cells == 1:
            return float(self.degree)
        beyond = cells * ((self.rho + 1.0 / self.rho) / 2.0 - 1.0) + 1.0  # in half-widths of a cell
        rho = beyond + math.sqrt(beyond * beyond - 1.0)
        return max(math.log(max(self.size / cells / tolerance, 1.0)) / math.log(rho), 1.0)


@dataclass(frozen=True)
class Grid:
    """Cells along each coordinate but the place; degrees of all, that of the place last."""

    cells: tuple[int, ...]
    degrees: tuple[float, ...]

    @property
    def terms(self) -> int:
        """Terms of a cell."""
        return term_count(self.degrees)

    @property
    def number(self) -> int:
        """Of cells."""
        return math.prod(self.cells)


@dataclass(frozen=True)
class Account:
    """What so many ``trials`` cost, by the equation of motion or by polynomials that are fitted to it.

    effort: explicit steps a trial. columns: values a trial. spare: points to solve in a cell beside two a
    term. coordinates: with that of the place.
    """

    trials: float
    effort: float
    coordinates: int
    columns: int
    spare: int

    @property
    def solved(self) -> float:
        """Seconds by the equation of motion."""
        return self.trials * self.effort * A_STEP

    def fitted(self, grid: Grid, known: int = 0) -> float:
        """Seconds by polynomials on this grid, with their fit; ``known``: points of a cell solved so far."""
        each = grid.terms * ((self.columns + 4) * A_TERM + grid.number * A_CALL)  # 4: to make the products
        points = grid.number * max(2 * grid.terms + self.spare - known, 0)
        return self.trials * each + points * self.effort * A_STEP + A_FIT * grid.terms**3


def probes() -> Array:
    """Chebyshev points of the first kind, (PROBES,)."""
    return np.asarray(np.cos(np.pi * (np.arange(PROBES) + 0.5) / PROBES))


def decay_of(values: Array, tolerance: float) -> Decay:
    """Of a function (PROBES, columns) at `probes`, over the columns the slowest."""
    angles = np.pi * (np.arange(PROBES) + 0.5) / PROBES
    cosines = np.cos(np.outer(np.arange(PROBES), angles))
    sizes = np.abs(cosines @ values * (2.0 / PROBES)).max(axis=1)
    above = np.flatnonzero(sizes > tolerance)
    above = above[above > 0]
    if not above.size:
        return Decay(0.0, math.inf, 0)
    degree, size = int(above[-1]), float(sizes[1:].max())
    return Decay(size, max((size / tolerance) ** (1.0 / degree), 1.0 + 1e-3), degree)


def directions(coordinates: int) -> Array:
    """Along each coordinate by itself, and then along all diagonals, (directions, coordinates)."""
    signs = [(1.0, *others) for others in product((1.0, -1.0), repeat=min(coordinates, MOST_DIAGONAL) - 1)]
    diagonals = np.pad(
        np.array(signs), ((0, 0), (0, max(coordinates - MOST_DIAGONAL, 0))), constant_values=1.0
    )
    return np.concatenate([np.eye(coordinates), diagonals])


def grid_for(decays: Sequence[Decay], tolerance: float, account: Account) -> Grid:
    """The grid that costs least.

    ``decays`` along `directions`; the last coordinate, that of the place, is not cut.
    """
    count = account.coordinates
    alone, together = decays[:count], decays[count:]
    highest = max(d.degree for d in alone)
    # a function of a sum takes along the diagonal what no coordinate shows by itself
    more = max(max(d.degree for d in together) / highest, 1.0) if highest else 1.0

    def cut(cells: tuple[int, ...]) -> Grid:
        each = [more * d.degree_in(n, tolerance) for d, n in zip(alone, (*cells, 1), strict=True)]
        return Grid(cells, tuple(n + MARGIN if n else 0.0 for n in each))

    grid = cut((1,) * (count - 1))
    seen = [grid]
    while grid.cells and grid.number <= MOST_CELLS:
        finer = [cut((*grid.cells[:i], n + 1, *grid.cells[i + 1 :])) for i, n in enumerate(grid.cells)]
        terms = grid.terms
        # what a coordinate's cells save in terms, for what they add in number
        saved = [
            math.log(terms / g.terms) / math.log((n + 1) / n) for g, n in zip(finer, grid.cells, strict=True)
        ]
        grid = finer[int(np.argmax(saved))]
        seen.append(grid)
    return min((g for g in seen if g.number <= MOST_CELLS), key=account.fitted)
