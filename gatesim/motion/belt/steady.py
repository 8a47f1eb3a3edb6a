"""When slip ends on a belt that does not ripple, where nothing else changes: running up, and evenly."""

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.belt.belt import Belt


def meeting(belt: Belt, since: Array, a: Array, sign: Array, v: Array, last: Array) -> Array:
    """Times (n,) from ``since`` until belt and part are equally fast; NaN if not before ``last``.

    sign: +1 where the belt is the faster now, else -1; v and a: speed and acceleration of the part. All (n,).
    The gap of their speeds closes evenly while the belt runs up, and at another rate from then on.
    """
    gap = sign * (belt.velocity(since) - v)
    left = np.maximum(belt.ramp - since, 0.0)
    closing = sign * (a - belt.acceleration(since))
    with np.errstate(divide="ignore", invalid="ignore"):  # never, where it does not close
        early = np.where(closing > 0.0, gap / closing, np.inf)
        gap_then, closing_then = sign * (belt.velocity(since + left) - v - a * left), sign * a
        late = np.where(closing_then > 0.0, left + gap_then / closing_then, np.inf)
    tau = np.where(early <= left, early, late)
    return np.where(tau <= last, np.maximum(tau, 0.0), np.nan)
