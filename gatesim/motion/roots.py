"""Halley's method (Newton's with the curvature) for many trials, each of which stops by itself."""

from collections.abc import Callable

import numpy as np

from gatesim.ground.arrays import Array, Flags

MOST = 60

CLOSE = 1e-6
"""A step this small relative to the unknown was the last: what is left goes with its cube."""


def solve(
    function: Callable[[Array], tuple[Array, Array, Array]],
    start: Array,
    bracket: tuple[Array, Array] | None = None,
    close: float = CLOSE,
) -> tuple[Array, Flags]:
    """Roots (..., n) of a function that returns value, slope and curvature, and which of them were found.

    bracket: bounds of the roots of a function that grows; a step that leaves them is halved instead.
    close: size of the last step relative to the unknown, for a function that bends faster than the unknown.
    A root found stays as it is while others go on, so that its bits do not depend on them.
    """
    x, found = start, np.zeros(start.shape, bool)
    low, high = bracket or (start, start)
    inside = ~found
    done = ~np.isfinite(start)
    for _ in range(MOST):
        value, slope, curvature = function(x)
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # a level start, within a bracket
            newton = value / slope
            bend = 1 - 0.5 * newton * curvature / slope
            step = newton / np.where(bend > 0.5, bend, 1.0)
        if bracket is not None:
            low, high = np.where(value < 0, x, low), np.where(value > 0, x, high)
            inside = (x - step >= low) & (x - step <= high)
            step = np.where(inside, step, x - 0.5 * (low + high))
        x = np.where(done, x, x - step)
        there = inside & (np.abs(step) <= close * np.abs(x))
        found |= there & ~done
        done |= there | ~np.isfinite(x)
        if done.all():
            break
    return x, found
