"""Extra transitions after a switching edge."""

from dataclasses import dataclass

import numpy as np

from gatesim.draw import Array, Draw
from gatesim.quantity import Scalar
from gatesim.transition import compact

MOST_PULSES = 12
"""Pulses kept after one edge; with a mean of 3 the Poisson law exceeds it once in 60 000 edges."""


@dataclass(frozen=True)
class Chatter:
    """A Poisson number of extra pulses after each edge, mean ``mean_pulses``.

    The times between their transitions are exponential, mean ``mean_spacing`` (s). Pulses
    that would run into the next edge are left out. Common practice, no source.
    """

    mean_pulses: Scalar
    mean_spacing: Scalar

    def added(self, times: Array, draw: Draw, gate: int) -> Array:
        """Transition lists (n, k) with the chatter put in, (n, m)."""
        n, edges = times.shape
        pulses = self._pulses(draw.uniform(f"sensor.chatter_pulses@{gate}", edges))
        most = int(pulses.max(initial=0))
        if most == 0:
            return times
        spacing = np.asarray(self.mean_spacing, float)
        # a fixed number of columns is drawn, so that a trial's draws do not depend on its block
        waits = -np.log(draw.uniform(f"sensor.chatter_spacing@{gate}", 2 * MOST_PULSES * edges))
        waits = waits.reshape(n, edges, 2 * MOST_PULSES)[:, :, : 2 * most]
        after = np.cumsum(waits, axis=2) * (spacing[:, None, None] if spacing.ndim else spacing)
        extra = times[:, :, None] + after
        following = np.concatenate([times[:, 1:], np.full((n, 1), np.inf)], axis=1)
        number = np.arange(2 * most) // 2
        ends = extra[:, :, 1::2].repeat(2, axis=2)
        kept = (number < pulses[:, :, None]) & (ends < following[:, :, None])
        extra = np.where(kept & np.isfinite(extra), extra, np.inf)
        every = np.concatenate([times[:, :, None], extra], axis=2).reshape(n, -1)
        return compact(every)

    def _pulses(self, u: Array) -> Array:
        """Poisson numbers by the inverse distribution function."""
        mean = np.asarray(self.mean_pulses, float)
        mean = mean[:, None] if mean.ndim else mean
        term = below = np.exp(-mean)
        pulses = np.zeros(u.shape)
        for number in range(1, MOST_PULSES + 1):
            pulses += u > below
            term = term * mean / number
            below = below + term
        return pulses
