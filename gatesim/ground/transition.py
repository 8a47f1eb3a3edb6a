"""Transition lists: the times at which a signal goes dark, light, dark, ...

A list per trial, shape (n, k), rising along the row and padded with +inf. Every signal
starts light, so even columns are edges to dark, odd columns edges to light.
"""

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array


def ordered(times: Array) -> Array:
    """Rows sorted, so that the padding is at the end; every column is kept.

    The number of columns must not depend on the other trials where draws are made for them.
    """
    if (times[:, :-1] <= times[:, 1:]).all():
        return times
    return np.sort(times, axis=1)


def trimmed(times: Array) -> Array:
    """Columns of padding only left out of ordered rows; at least two remain, one for each direction."""
    width = times.shape[1]
    while width > 2 and np.isinf(times[:, width - 1]).all():
        width -= 1
    if width < 2:
        return np.pad(times, ((0, 0), (0, 2 - width)), constant_values=np.inf)
    return times[:, :width]


def alternating(times: Array) -> Array:
    """Ordered rows without the edges lost (NaN or inf), nor those that then change nothing.

    ``times`` (n, k) alternate by column; where an edge to dark is lost the signal is light
    already at the edge to light that follows.
    """
    kept = np.isfinite(times)
    if kept.all():
        return ordered(times)
    dark = np.zeros(len(times), bool)
    for column in range(times.shape[1]):
        to_dark = column % 2 == 0
        kept[:, column] &= dark != to_dark
        dark = np.where(kept[:, column], to_dark, dark)
    return ordered(np.where(kept, times, np.inf))


def edge_count(times: Array) -> NDArray[np.intp]:
    """Number of transitions a trial, shape (n,)."""
    # a product with ones: numpy sums short rows five times slower
    finite = np.isfinite(times).astype(np.intp)
    found: NDArray[np.intp] = finite @ np.ones(times.shape[1], np.intp)
    return found


def without_reversals(times: Array) -> Array:
    """Remove neighbours that came out of order: a pulse of no duration does not exist.

    ``times`` (n, k) alternate by column and may be out of order after each edge was
    delayed on its own. The first adjacent pair that does not rise is removed, and so on,
    until the row rises strictly.
    """
    rising = (times[:, :-1] < times[:, 1:]) | np.isinf(times[:, 1:])
    rows = np.flatnonzero(~rising.all(axis=1))
    if not rows.size:
        return times
    times = times.copy()
    while rows.size:
        some = times[rows]
        bad = (some[:, :-1] >= some[:, 1:]) & np.isfinite(some[:, 1:])
        at = np.argmax(bad, axis=1)
        found = bad.any(axis=1)
        rows, some, at = rows[found], some[found], at[found]
        column = np.arange(times.shape[1])
        # what follows the pair moves up: the order of the others and their alternation stay
        moved = np.pad(some, ((0, 0), (0, 2)), constant_values=np.inf)[:, 2:]
        times[rows] = np.where(column < at[:, None], some, moved)
    return times


def level_at(times: Array, at: Array) -> NDArray[np.bool_]:
    """Whether the signal is dark at the times ``at`` (n, m)."""
    dark: NDArray[np.bool_] = counted_up_to(times, at) % 2 == 1
    return dark


def counted_up_to(times: Array, at: Array) -> NDArray[np.intp]:
    """How many of ``times`` (n, k), ascending in each row, lie at or before each of ``at`` (n, m), (n, m)."""
    found: NDArray[np.intp] = np.arange(1, at.shape[1] + 1) * (at != -np.inf)
    # often each of them comes just behind its own: that is seen at a glance, row by row it is searched
    own = np.full((len(times), at.shape[1] + 1), np.inf)
    own[:, : times.shape[1]] = times[:, : at.shape[1] + 1]
    plain = (own[:, :-1] <= at) & (at < own[:, 1:]) | (at == -np.inf)
    for row in np.flatnonzero(~plain.all(axis=1)).tolist():
        found[row] = times[row].searchsorted(at[row], side="right")
    return found


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
    return ordered(np.where((height > 0) != (before > 0), times, np.inf))
