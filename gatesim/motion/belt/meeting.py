"""A meeting that ends a span early: a belt catches the part."""

from collections.abc import Callable
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.collocation import move
from gatesim.motion.integrate.span import Dynamics


class Meeting(Protocol):
    """A gap that closes on the way."""

    def gap(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Positive before the meeting, at speed v and time dt since the span's start, for those trials."""
        ...

    def room(self, rows: NDArray[np.intp], v: Array, dt: Array) -> Array:
        """Lower bound of the gap from time dt on, should the speed stay v."""
        ...

    def reach(self, rows: NDArray[np.intp], v: Array, a: Array, dt: Array) -> Array:
        """Distance over which the gap changes sign at most once (but for grazing contact)."""
        ...


def refine(
    dynamics: Dynamics,
    implicit: Flags,
    u: Array,
    v: Array,
    a: Array,
    distance: Array,
    gap: Callable[[Array, Array], Array],
) -> tuple[Array, Array, Array]:
    """Length of the step from (u, v) after which ``gap(v, dt)`` is zero.

    After ``distance`` the gap must not be positive any more. Steps again from the start with a
    length found by the Illinois variant of regula falsi, so the meeting is as accurate as any
    step. Returns distance, speed and elapsed time (n,).
    """
    low, low_gap = np.zeros_like(distance), gap(v, np.zeros_like(v))
    high = distance.copy()
    end, elapsed, _ = move(dynamics, implicit, u, v, a, high)
    high_gap = gap(end, elapsed)
    best = [high.copy(), end, elapsed]
    for _ in range(100):
        wide = (high - low > 4e-16 * high) & (high_gap != 0)
        if not wide.any():
            break
        with np.errstate(divide="ignore", invalid="ignore"):
            share = low_gap / (low_gap - high_gap)
        # a gap that also begins at zero gives no secant: halve
        share = np.where((low_gap > 0) & (share > 0) & (share < 1), share, 0.5)
        trial = np.where(wide, low + share * (high - low), high)
        end, elapsed, _ = move(dynamics, implicit, u, v, a, trial)
        value = gap(end, elapsed)
        before, after = wide & (value > 0), wide & (value <= 0)
        for kept, new in zip(best, (trial, end, elapsed), strict=True):
            np.copyto(kept, new, where=after)
        high_gap = np.where(before, high_gap / 2, np.where(after, value, high_gap))
        low_gap = np.where(after, low_gap / 2, np.where(before, value, low_gap))
        low, high = np.where(before, trial, low), np.where(after, trial, high)
    return best[0], best[1], best[2]
