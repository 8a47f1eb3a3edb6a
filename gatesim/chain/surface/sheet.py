"""One sheet of a surface: crossing times of the parts of one rig, as a polynomial on each cell of a grid."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.surface.coordinates import Coordinates
from gatesim.chain.surface.terms import Terms
from gatesim.ground.arrays import Array, Flags


@dataclass(frozen=True)
class Sheet:
    """Times (s), and speeds (m/s) where they are wanted, at p positions.

    cells: along each coordinate. coefficients: of ``terms``, as `Terms.fitted` has them.
    holds: cells (cells,) in which it was found to be good, and no part stopped or ran away.
    """

    coordinates: Coordinates
    cells: tuple[int, ...]
    terms: Terms
    coefficients: tuple[Array, ...]
    holds: Flags

    def values(self, x: Array, z: Array) -> Array:
        """Times (p, n), or times and speeds (2 p, n), at coordinates x (d, n) within and places z (p, n)."""
        cell, own = self._cells(x)
        columns = self.coefficients[0].shape[2]
        z = np.tile(z, (columns // len(z), 1))
        if len(self.holds) == 1:
            return self.terms.values([c[0] for c in self.coefficients], own, z)
        found = np.empty((columns, x.shape[1]))
        order = np.argsort(cell, kind="stable")
        ends = np.cumsum(np.bincount(cell, minlength=len(self.holds)))
        for number, rows in enumerate(np.split(order, ends[:-1])):
            found[:, rows] = self.terms.values(
                [c[number] for c in self.coefficients], own[:, rows], z[:, rows]
            )
        return found

    def holds_at(self, x: Array) -> Flags:
        """Whether trials at x (d, n) are in cells that hold."""
        return self.holds[self._cells(np.clip(x, -1.0, 1.0))[0]]

    def _cells(self, x: Array) -> tuple[NDArray[np.intp], Array]:
        """The cell of each trial, and its coordinates there."""
        cell, own = np.zeros(x.shape[1], np.intp), np.empty(x.shape)
        for i, (values, count) in enumerate(zip(x, self.cells, strict=True)):
            scaled = (values + 1.0) * (count / 2.0)
            number = np.minimum(scaled.astype(np.intp), count - 1)
            own[i] = 2.0 * (scaled - number) - 1.0
            cell = cell * count + number
        return cell, own

    def everywhere(self, points: Array) -> Array:
        """Coordinates (d, cells n) of the same points (d, n) of every cell in turn."""
        corners = np.array(list(np.ndindex(*self.cells)), float).reshape(len(self.holds), -1, 1)
        sizes = np.array(self.cells, float)[:, None]
        found = (2.0 * corners + 1.0 + points) / sizes - 1.0  # (cells, d, n)
        return np.asarray(found.transpose(1, 0, 2).reshape(len(points), -1))
