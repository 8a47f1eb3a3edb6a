"""Transition lists: the times at which a signal goes dark, light, dark, ...

A list per trial, shape (n, k), rising along the row and padded with +inf. Every signal
starts light, so even columns are edges to dark, odd columns edges to light.
"""

import numpy as np
from numpy.typing import NDArray

from gatesim.draw import Array


def compact(times: Array) -> Array:
    """Rows sorted, so that the padding is at the end, and columns of padding only left out.

    At least two columns remain, one for each direction.
    """
    ordered = np.sort(times, axis=1)
    width = max(2, int(edge_count(ordered).max(initial=0)))
    if ordered.shape[1] < width:
        ordered = np.pad(ordered, ((0, 0), (0, width - ordered.shape[1])), constant_values=np.inf)
    return ordered[:, :width]


def edge_count(times: Array) -> NDArray[np.intp]:
    """Number of transitions a trial, shape (n,)."""
    # a product with ones: numpy sums short rows five times slower
    finite = np.isfinite(times).astype(np.intp)
    found: NDArray[np.intp] = finite @ np.ones(times.shape[1], np.intp)
    return found


def without_reversals(times: Array) -> Array:
    """Remove neighbours that came out of order: a pulse of no duration does not exist.

    ``times`` (n, k) alternate by column and may be out of order after each edge was
    delayed on its own. The first adjacent pair that does not rise is removed, again and
    again, until the row rises strictly.
    """
    while True:
        bad = (times[:, 1:] <= times[:, :-1]) & (times[:, :-1] < np.inf)
        if not bad.any():
            return times
        first = bad & (np.cumsum(bad, axis=1) == 1)
        times = times.copy()
        times[:, :-1][first] = np.inf
        times[:, 1:][first] = np.inf
        # removing a pair keeps the order of the others and the alternation of columns
        order = np.argsort(~np.isfinite(times), axis=1, kind="stable")
        times = np.take_along_axis(times, order, axis=1)


def level_at(times: Array, at: Array) -> NDArray[np.bool_]:
    """Whether the signal is dark at the times ``at`` (n, m)."""
    passed = (times[:, :, None] <= at[:, None, :]).sum(axis=1)
    dark: NDArray[np.bool_] = passed % 2 == 1
    return dark


def merged(lists: list[Array]) -> Array:
    """The signal that is dark whenever any of the given signals is: overlapping parts are one."""
    if len(lists) == 1:
        return lists[0]
    times = np.concatenate(lists, axis=1)
    steps = np.concatenate([np.where(np.arange(t.shape[1]) % 2 == 0, 1, -1) for t in lists])
    order = np.argsort(times, axis=1, kind="stable")
    times = np.take_along_axis(times, order, axis=1)
    height = np.cumsum(np.where(np.isfinite(times), steps[order], 0), axis=1)
    before = np.concatenate([np.zeros((len(times), 1), int), height[:, :-1]], axis=1)
    return compact(np.where((height > 0) != (before > 0), times, np.inf))
