"""Which input filters make the input's edges of the sensor's, and which leave a part's own edges alone.

Filters of one time are tried (`FilterTable.of_time`). What such a filter does changes only at times that
lie between two edges, so that one time from each stretch between these tells what all of it does.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal
from gatesim.inputfilter import FILTERS, FilterTable

MOST_TRIED = 200
"""Times that are tried at most, beside those by which edges come late; of more, evenly spread ones."""
MOST_PASSAGES = 200
"""Passages that are looked at; more would tell no more."""


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

Does = Callable[[Array], bool]
"""Whether lists (n, k) that a filter made are what was asked."""


def filters_that_make(passages: Sequence[Passage], step: float) -> tuple[FilterRange, ...]:
    """Filters that turn the sensor's edges into the input's, within two steps (s) of the record."""
    passages = passages[:MOST_PASSAGES]
    wanted = _lists([input_edges for _, input_edges in passages])

    def same(made: Array) -> bool:
        size = max(made.shape[1], wanted.shape[1])
        one, other = (_lists(list(lists), size) for lists in (made, wanted))
        known = np.isfinite(other)
        if not np.array_equal(known, np.isfinite(one)):
            return False
        return bool(np.all(np.abs(one[known] - other[known]) <= 2.0 * step))

    late = [float(t) for sensed, seen in passages[:3] for t in (seen[:, None] - sensed).ravel() if t > 0.0]
    return _ranges(passages, late, same, step)


def filters_that_clean(passages: Sequence[Passage], step: float) -> tuple[FilterRange, ...]:
    """Filters that leave as many edges as the part has itself, ``passages`` with these as the second."""
    passages = passages[:MOST_PASSAGES]
    own = np.array([edges.size for _, edges in passages])

    def clean(made: Array) -> bool:
        return bool(np.all(np.isfinite(made).sum(axis=1) == own))

    return _ranges(passages, [], clean, step)


def _lists(each: Sequence[Array], size: int = 2) -> Array:
    """Transition lists (n, k), padded with infinity."""
    size = max(size, *(edges.size for edges in each))
    return np.stack([np.pad(edges, (0, size - edges.size), constant_values=np.inf) for edges in each])


def _ranges(
    passages: Sequence[Passage], late: list[float], does: Does, step: float
) -> tuple[FilterRange, ...]:
    sensed = _lists([edges for edges, _ in passages])
    draw = Nominal(len(sensed))
    waits = np.concatenate([(edges - edges[:, None]).ravel() for edges, _ in passages])
    corners = np.unique(np.round(waits[waits > 0.0] / step)) * step
    if corners.size > MOST_TRIED:
        corners = corners[np.linspace(0, corners.size - 1, MOST_TRIED).astype(int)]
    ends = np.append(0.0, corners)
    tried = np.unique(np.concatenate([corners, 0.5 * (ends[1:] + ends[:-1]), late]))
    found = []
    for member in FILTERS.members:
        kind = member.kind_of_one_time()
        if not kind:
            continue

        def good(time: float, member: type[FilterTable] = member) -> bool:
            return does(member.of_time(time).pass_on(sensed, draw, "filter@1"))

        found += [FilterRange(kind, low, high) for low, high in _stretches(tried.tolist(), good, step)]
    return tuple(found)


def _stretches(
    tried: Sequence[float], good: Callable[[float], bool], step: float
) -> list[tuple[float, float]]:
    """Runs of times that are good, their ends to half a step."""
    found: list[tuple[float, float]] = []
    holds = [good(time) for time in tried]
    for number, now in enumerate(holds):
        if now and (number == 0 or not holds[number - 1]):
            found.append(
                (_end(tried[number], tried[number - 1] if number else 0.0, good, step), tried[number])
            )
        if now and number + 1 < len(holds):
            other = tried[number + 1]
            high = other if holds[number + 1] else _end(tried[number], other, good, step)
            found[-1] = (found[-1][0], high)
    return found


def _end(inside: float, outside: float, good: Callable[[float], bool], step: float) -> float:
    """How far from a good time towards one that is not it still holds."""
    while abs(outside - inside) > 0.5 * step:
        middle = 0.5 * (inside + outside)
        inside, outside = (middle, outside) if middle > 0.0 and good(middle) else (inside, middle)
    return inside
