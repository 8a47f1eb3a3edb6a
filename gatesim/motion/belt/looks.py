"""When a part under a constant acceleration is as fast as a belt that ripples while it runs up: by looks.

The belt's speed bounds itself from any time on, so that a part far from it is not looked at; near it the gap
of speeds is looked at twenty times a period, which only a grazing contact escapes, and its root is found.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Rows, take
from gatesim.motion.belt.belt import CLOSE, Belt
from gatesim.motion.roots import solve

BRIEF = 0.05
"""Between two looks, in periods."""


@dataclass(frozen=True)
class Looks:
    """n trials at speed v from ``since`` on, under accelerations a; sign: +1 where the belt is faster."""

    belt: Belt
    since: Array
    v: Array
    a: Array
    sign: Array

    def take(self, rows: Rows) -> "Looks":
        """Select trials."""
        return Looks(take(self.belt, rows), self.since[rows], self.v[rows], self.a[rows], self.sign[rows])

    def gap(self, tau: Array) -> Array:
        """Speed by which the belt is ahead in direction ``sign``, at times ``tau`` from ``since`` on."""
        gap: Array = self.sign * (self.belt.velocity(self.since + tau) - self.v - self.a * tau)
        return gap

    def meeting(self, last: Array) -> Array:
        """Times (n,) from ``since`` until belt and part are equally fast; NaN if not before ``last`` (n,)."""
        brief = BRIEF / np.abs(np.broadcast_to(np.asarray(self.belt.ripple_frequency, float), last.shape))
        low, high = np.zeros(last.shape), last.copy()
        met, going = np.zeros(last.shape, bool), low < last
        while going.any():
            least, most = self.belt.band(self.since + low)
            speed = self.v + self.a * low
            room = np.where(self.sign > 0, least - speed, speed - most)
            with np.errstate(divide="ignore", invalid="ignore"):
                far = np.where(room > 0, room / np.abs(self.a), 0.0)
            until = np.minimum(low + np.fmax(far, brief), last)
            crossed = going & (self.gap(until) <= 0)
            met |= crossed
            high = np.where(crossed, until, high)
            going &= ~crossed & (until < last)
            low = np.where(going, until, low)
        found = np.full(last.shape, np.nan)
        rows = np.flatnonzero(met)
        if rows.size:
            found[rows] = self.take(rows)._root(low[rows], high[rows])
        return found

    def _root(self, low: Array, high: Array) -> Array:
        """The root of a gap that falls from ``low`` to ``high``; one that begins at zero there is none."""
        low = low + 1e-6 * (high - low)

        def behind(tau: Array) -> tuple[Array, Array, Array]:
            slope = -self.sign * (self.belt.acceleration(self.since + tau) - self.a)
            return -self.gap(tau), slope, np.zeros_like(tau)

        return solve(behind, 0.5 * (low + high), (low, high), CLOSE)[0]
