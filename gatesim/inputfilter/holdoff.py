"""A change is accepted at once, then further changes are ignored for a time."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.inputfilter.base import Accepted


@dataclass(frozen=True)
@accepts(time="s")
class HoldOff:
    """Accept a change at once, ignore the input for ``time`` (s), then take its actual level.

    Adds no delay to a clean edge. A pulse shorter than ``time`` is stretched to it; a gap
    that begins and ends within it is swallowed. Common practice, no source.
    """

    time: Scalar

    @property
    def surely_followed(self) -> float:
        """See `Filter.surely_followed`."""
        return float(np.max(self.time))

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        edges = np.ascontiguousarray(times.T)  # a row for each edge, all trials at once
        n = len(times)
        accepted = Accepted(n, 2 * len(edges))
        free_from = np.full(n, -np.inf)
        dark = np.zeros(n, bool)
        for k, now in enumerate(edges):
            if np.isinf(now).all():
                break
            differs = dark != (k % 2 == 0)
            takes = (now >= free_from) & (now < np.inf) & differs
            accepted.add(now, takes)
            free_from = np.where(takes, now + self.time, free_from)
            # the hold-off may end before the next edge, on a level that was not taken
            until = edges[k + 1] if k + 1 < len(edges) else np.full(n, np.inf)
            late = (free_from > now) & (free_from < until) & differs & ~takes
            accepted.add(free_from, late)
            free_from = np.where(late, free_from + self.time, free_from)
            dark ^= takes | late
        return accepted.lists()
