"""Which input filters make the input's edges of the sensor's, and which leave a part's own edges alone.

Filters of one time are tried (`FilterTable.of_time`). What such a filter does changes only at times that
lie between two edges, so that one time from each stretch between these tells what all of it does.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.ground.draw import Nominal
from gatesim.inputfilter import FILTERS, FilterTable

MOST_TRIED = 200
"""Times that are tried at most, beside those by which edges come late; of more, evenly spread ones."""
MOST_PASSAGES = 200
"""Passages that are looked at; more would tell no more."""
MOST_ROWS = 5_000
"""Lists that are filtered at a time."""


@dataclass(frozen=True)
class FilterRange:
    """A filter of ``kind`` does what was asked with every time from ``low`` to ``high`` (s)."""

    kind: str
    low: float
    high: float

    @property
    def middle(self) -> float:
        """In the middle of the range, in s."""
        return 0.5 * (self.low + self.high)


Passage = tuple[Array, Array]
"""Edges (k,) of a sensor in s, and those (m,) that a filter is to make of them."""

Does = Callable[[Array], Flags]
"""Which of t filters did what was asked, (t,), from the lists (t, n, k) that they made."""


def filters_that_make(passages: Sequence[Passage], step: float) -> tuple[FilterRange, ...]:
    """Filters that turn the sensor's edges into the input's, within two steps (s) of the record."""
    passages = passages[:MOST_PASSAGES]
    wanted = _lists([input_edges for _, input_edges in passages])

    def alike(made: Array) -> Flags:
        size = max(made.shape[2], wanted.shape[1])
        one, other = (_wide(lists, size) for lists in (made, wanted))
        known = np.isfinite(other)
        off = np.where(known, one, 0.0) - np.where(known, other, 0.0)
        close = (np.abs(off) <= 2.0 * step) & (known == np.isfinite(one))
        same: Flags = close.all(axis=(1, 2))
        return same

    late = [float(t) for sensed, seen in passages[:3] for t in (seen[:, None] - sensed).ravel() if t > 0.0]
    return _ranges(passages, late, alike, step)


def filters_that_clean(passages: Sequence[Passage], step: float) -> tuple[FilterRange, ...]:
    """Filters that leave as many edges as the part has itself, ``passages`` with these as the second."""
    passages = passages[:MOST_PASSAGES]
    own = np.array([edges.size for _, edges in passages])

    def clean(made: Array) -> Flags:
        as_many: Flags = (np.isfinite(made).sum(axis=2) == own).all(axis=1)
        return as_many

    return _ranges(passages, [], clean, step)


def _lists(each: Sequence[Array]) -> Array:
    """Transition lists (n, k), padded with infinity."""
    size = max(2, *(edges.size for edges in each))
    return np.stack([_wide(edges, size) for edges in each])


def _wide(lists: Array, size: int) -> Array:
    """Lists (..., k) padded with infinity to (..., size)."""
    out = np.full((*lists.shape[:-1], size), np.inf)
    out[..., : lists.shape[-1]] = lists
    return out


def _ranges(
    passages: Sequence[Passage], late: list[float], does: Does, step: float
) -> tuple[FilterRange, ...]:
    sensed = _lists([edges for edges, _ in passages])
    waits = np.concatenate([(edges - edges[:, None]).ravel() for edges, _ in passages])
    corners = np.unique(np.round(waits[waits > 0.0] / step)) * step
    if corners.size > MOST_TRIED:
        corners = corners[np.linspace(0, corners.size - 1, MOST_TRIED).astype(int)]
    ends = np.append(0.0, corners)
    tried = np.unique(np.concatenate([corners, 0.5 * (ends[1:] + ends[:-1]), late]))
    found: list[FilterRange] = []
    for member in FILTERS.members if tried.size else ():
        kind = member.kind_of_one_time()
        if kind:
            good = partial(_good, member, sensed, does)
            found += [FilterRange(kind, low, high) for low, high in _stretches(tried, good, step)]
    return tuple(found)


def _good(member: type[FilterTable], sensed: Array, does: Does, times: Array) -> Flags:
    """Which of the times (t,) make filters that do what was asked with the lists (n, k): many a batch."""
    n, good = len(sensed), []
    for some in np.array_split(times, math.ceil(len(times) * n / MOST_ROWS)):
        made = member.of_time(np.repeat(some, n)).pass_on(
            np.tile(sensed, (len(some), 1)), Nominal(n * len(some)), "filter@1"
        )
        good.append(does(made.reshape(len(some), n, -1)))
    return np.concatenate(good)


def _stretches(tried: Array, good: Callable[[Array], Flags], step: float) -> list[tuple[float, float]]:
    """Runs of times that are good, their ends to half a step."""
    found: list[tuple[float, float]] = []
    holds, times = good(tried).tolist(), tried.tolist()

    def end(inside: float, outside: float) -> float:
        """How far from a good time towards one that is not it still holds."""
        while abs(outside - inside) > 0.5 * step:
            middle = 0.5 * (inside + outside)
            holds = middle > 0.0 and bool(good(np.array([middle]))[0])
            inside, outside = (middle, outside) if holds else (inside, middle)
        return inside

    for number, now in enumerate(holds):
        if now and (number == 0 or not holds[number - 1]):
            found.append((end(times[number], times[number - 1] if number else 0.0), times[number]))
        if now and number + 1 < len(holds):
            other = times[number + 1]
            high = other if holds[number + 1] else end(times[number], other)
            found[-1] = (found[-1][0], high)
    return found
