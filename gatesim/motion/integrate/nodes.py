"""Positions at which the integration pauses: kinks of the forces and the positions asked for."""

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Scalar


def nodes_of(kinks: tuple[Scalar, ...], positions: Array) -> tuple[Array, NDArray[np.intp]]:
    """Sorted nodes (k + 1, n) from release at 0 to the last position asked for.

    positions: (n, p), NaN where nothing is asked. Kinks behind the release or past the last
    position collapse into spans of no size. Also returns the row of each position, (p,) if
    all trials share one order, else (p, n).
    """
    n, p = positions.shape
    wanted = np.where(positions >= 0, positions, 0.0)  # also NaN
    last = wanted.max(axis=1, initial=0.0)
    nodes = np.stack([np.zeros(n), *(np.clip(kink, 0.0, last) for kink in kinks), *wanted.T])
    order = np.argsort(nodes[:, 0], kind="stable")
    ordered = nodes[order]
    if (ordered[1:] >= ordered[:-1]).all():
        return ordered, np.argsort(order)[len(nodes) - p :]
    each = np.argsort(nodes, axis=0, kind="stable")
    return np.take_along_axis(nodes, each, axis=0), np.argsort(each, axis=0)[len(nodes) - p :]


def pick(values: Array, rows: NDArray[np.intp], positions: Array) -> Array:
    """Values (k + 1, n) at the rows found by ``nodes_of``, as (n, p); NaN where no travel was asked."""
    found = values[rows] if rows.ndim == 1 else np.take_along_axis(values, rows, axis=0)
    return np.where(positions >= 0, found.T, np.nan)
