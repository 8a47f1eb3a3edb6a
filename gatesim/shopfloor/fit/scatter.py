"""How much repeated rows scatter about their mean, against what the model says of a single row."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.fit.noise import fraction_slack
from gatesim.shopfloor.fit.rows import Cells, Rows
from gatesim.shopfloor.fit.system import whitening

ENOUGH_REPEATS = 10  # degrees of freedom below which the scatter of repeats is not judged by


@dataclass(frozen=True)
class Within:
    """Whitened deviations (r, 4) of the used rows from their cells' means, and what they add up to.

    ``matrix`` (4, 4) is their covariance, the identity for rows that scatter as stated;
    ``repeats`` the degrees of freedom of its rows, ``squares`` with ``freedom`` those of all
    registers together. ``width`` is how much wider than a normal the squares scatter, ``slack`` what whole
    counts may make of the ratio of the squares to the stated ones (see `fraction_slack`).
    """

    deviations: Array
    matrix: Array
    repeats: int
    squares: float
    freedom: float
    width: float
    slack: tuple[float, float]

    @property
    def ratio(self) -> float:
        """Standard deviation over the stated one; NaN where no row repeats another."""
        return float(np.sqrt(self.squares / self.freedom)) if self.freedom else np.nan


def within(rows: Rows, cells: Cells, covariance: Array, counts: Array) -> Within:
    """Scatter of the rows' ``counts`` (n, 4) about the means of their cells, by ``covariance`` (g, 4, 4)."""
    used = cells.row >= 0
    cell = cells.row[used]
    own = np.where(cells.mask[cell], counts[used], 0.0)
    total = np.zeros(cells.mask.shape)
    np.add.at(total, cell, own)
    w = whitening(covariance[cells.group], cells.mask)
    error = own - (total / cells.count[:, None])[cell]
    white = np.einsum("nrs,ns->nr", w[cell], error)
    free = (cells.count - 1)[:, None, None] * cells.mask[:, :, None] * cells.mask[:, None, :]
    products = free.sum(axis=0)
    matrix = np.where(products > 0, white.T @ white / np.maximum(products, 1), np.eye(len(products)))
    squared = (white**2).sum(axis=1)[cells.count[cell] > 1]
    registers = cells.mask.sum(axis=1)[cell][cells.count[cell] > 1].mean() if squared.size else 1.0
    relative = float(squared.var() / squared.mean() ** 2) if squared.any() else 0.0
    return Within(
        white,
        matrix,
        int((cells.count - 1).sum()),
        float(squared.sum()),
        float(((cells.count - 1) * cells.mask.sum(axis=1)).sum()),
        # whole counts are not normal: with little jitter nearly all are equal and few differ by one
        max(1.0, relative * float(registers) / 2.0),
        _slack(cells, covariance),
    )


def _slack(cells: Cells, covariance: Array) -> tuple[float, float]:
    seen = cells.mask.any(axis=0)
    return fraction_slack(covariance[np.unique(cells.group)][:, seen][:, :, seen])


def wider(covariance: Array, cells: Cells, matrix: Array, repeats: int) -> Array:
    """Covariances (g, 4, 4) of a row as repeated rows show it, nowhere less than stated.

    ``matrix`` (4, 4) is the whitened covariance of ``repeats`` degrees of freedom; directions
    in which rows scatter less than stated keep the stated scatter. The inverse of an estimated
    covariance is too large by n / (n - r - 1) in the mean (mean of the inverse Wishart
    distribution), which is made up for.
    """
    seen = np.flatnonzero(cells.mask.any(axis=0))
    values, vectors = np.linalg.eigh(matrix[np.ix_(seen, seen)])
    spare = repeats - len(seen) - 1
    surplus = np.maximum(values * (repeats / spare if spare > 0 else 1.0), 1.0) - 1.0
    more = (vectors * surplus) @ vectors.T
    out = covariance.copy()
    for group in np.unique(cells.group):
        block = np.ix_(seen, seen)
        root = np.linalg.cholesky(covariance[group][block])
        out[group][block] += root @ more @ root.T
    return out


def without_trend(found: Within, lag: Array) -> tuple[Array, int]:
    """Covariance (4, 4) of whitened deviations less their trend with ``lag`` (r,), and its freedom."""
    square = float((lag**2).sum())
    if not square:
        return found.matrix, found.repeats
    left = found.deviations - lag[:, None] * (lag[:, None] * found.deviations).sum(axis=0) / square
    return left.T @ left / max(found.repeats - 1, 1), found.repeats - 1
