"""Transition lists: the times at which a signal goes dark, light, dark, ...

A list per trial, shape (n, k), rising along the row and padded with +inf. Every signal
starts light, so even columns are edges to dark, odd columns edges to light.
"""

from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags, Rows, Scalar, of_trials


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


def edge_by_edge(times: Array) -> Iterator[tuple[int, Rows, Array, Array]]:
    """Number of an edge, the trials that may have it, and (m,) for each when it and the next one come.

    ``times`` (n, k). +inf where there is none. Few lists are long: trials that have no more edges
    are left out by and by.
    """
    rows: Rows = slice(None)
    lists = np.ascontiguousarray(times.T)
    none = np.full(len(times), np.inf)
    first = 0
    for number in range(times.shape[1]):
        here = lists[number - first] < np.inf
        some = np.count_nonzero(here)
        if not some:
            return
        if some < 0.5 * here.size:
            left = np.flatnonzero(here)
            rows = left if isinstance(rows, slice) else rows[left]
            lists, first = lists[number - first :].take(left, axis=1), number
        at = number - first
        yield number, rows, lists[at], lists[at + 1] if at + 1 < len(lists) else none[: lists.shape[1]]


def apart(times: Array, change: Callable[[Array], Array]) -> Array:
    """What ``change`` makes of lists (n, k), each for itself, (n, m): the few long ones go apart."""
    long = np.flatnonzero(times[:, 2] < np.inf) if times.shape[1] > 2 else np.zeros(0, np.intp)
    if long.size > 0.5 * len(times):
        return change(times)
    short = change(times[:, :2])
    if not long.size:
        return short
    rest = change(times[long])
    out = np.full((max(short.shape[1], rest.shape[1]), len(times)), np.inf)
    out[: short.shape[1]] = short.T
    out[:, long] = np.inf
    out[: rest.shape[1], long] = rest.T
    return out.T


class Accepted:
    """Transition lists of n trials that grow edge by edge."""

    def __init__(self, n: int) -> None:
        self._times = np.full((2, n), np.inf)  # a row for each edge
        self._used = np.zeros(n, np.intp)

    def add(self, times: Array, where: Flags, rows: Rows = slice(None)) -> None:
        """Append transitions at ``times`` (m,) to the lists of some of the trials, ``where`` (m,)."""
        chosen = np.flatnonzero(where)
        if not chosen.size:
            return
        trial = chosen if isinstance(rows, slice) else rows[chosen]
        used = self._used[trial]
        if (most := int(used.max())) >= len(self._times):
            more = np.full((most, self._used.size), np.inf)
            self._times = np.concatenate([self._times, more])
        self._times[used, trial] = times[chosen]
        self._used[trial] = used + 1

    def lists(self) -> Array:
        """The lists in order, (n, m)."""
        return trimmed(self._times.T)


def held(times: Array, time: Scalar) -> Array:
    """Edges after which the level holds for ``time`` or longer, but for those that then change nothing.

    ``times`` (n, k) -> (n, m); ``time`` one for all or (n,), in the unit of the times.
    """
    dark = np.zeros(len(times), bool)
    accepted = Accepted(len(times))
    for number, rows, edge, following in edge_by_edge(times):
        until = edge + of_trials(time, rows)
        # of levels that held, one is new unless it follows an equal one
        changes = (until < np.inf) & (until <= following) & (dark[rows] != (number % 2 == 0))
        accepted.add(edge, changes, rows)
        dark[rows] ^= changes
    return accepted.lists()


def edge_count(times: Array) -> NDArray[np.intp]:
    """Number of transitions a trial, shape (n,)."""
    found = np.zeros(len(times), np.intp)
    for column in times.T:  # numpy sums short rows five times slower
        found += np.isfinite(column)
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
