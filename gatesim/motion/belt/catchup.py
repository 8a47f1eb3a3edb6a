"""A belt draws level with a part that slips on it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, take
from gatesim.motion.belt.belt import Belt


@dataclass(frozen=True)
class CatchUp:
    """Speeds of belt and part draw level; all (n,): direction of the pull, time at the span's start."""

    belt: Belt
    sign: Array
    since: Array

    def gap(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Belt speed less part speed, positive while the belt pulls in direction ``sign``."""
        gap: Array = self.sign[rows] * (take(self.belt, rows).velocity(self.since[rows] + dt) - v)
        return gap

    def room(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Gap that is left when ripple and run-up are at their worst."""
        least, most = take(self.belt, rows).band(self.since[rows] + dt)
        return np.where(self.sign[rows] > 0, least - v, v - most)

    def reach(self, rows: NDArray[np.intp], v: Array, a: Array, dt: Array) -> Array:
        """Way to the band of speeds of a rippled belt; within it, that of a twentieth of a period."""
        belt, room = take(self.belt, rows), self.room(rows, v, dt)
        with np.errstate(divide="ignore", invalid="ignore"):
            brief = np.where(belt.ripple == 0, np.inf, 0.05 / np.abs(np.asarray(belt.ripple_frequency)))
            within = v * brief + 0.5 * np.abs(a) * brief**2
            outside = 0.9 * room * np.abs(2 * v + self.sign[rows] * room) / (2 * np.abs(a))
            far = np.where(room > 0, np.fmax(within, outside), within)
        return np.where(far > 0, far, np.inf)
