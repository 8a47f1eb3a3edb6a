"""A change is accepted at once, then further changes are ignored for a time."""

from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.quantity import Scalar
from gatesim.transition import compact


@dataclass(frozen=True)
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
        n, width = times.shape
        accepted = np.full((n, 2 * width), np.inf)
        free_from = np.full(n, -np.inf)
        dark = np.zeros(n, bool)
        for column in range(width):
            now, to_dark = times[:, column], column % 2 == 0
            takes = (now >= free_from) & np.isfinite(now) & (dark != to_dark)
            accepted[takes, 2 * column] = now[takes]
            dark[takes] = to_dark
            free_from = np.where(takes, now + self.time, free_from)
            # the hold-off may end before the next edge, on a level that was not taken
            until = times[:, column + 1] if column + 1 < width else np.full(n, np.inf)
            late = (free_from > now) & (free_from < until) & (dark != to_dark) & np.isfinite(now)
            accepted[late, 2 * column + 1] = free_from[late]
            dark[late] = to_dark
            free_from = np.where(late, free_from + self.time, free_from)
        return compact(accepted)
