"""Which motions on a rippled belt change smoothly with the phase at release."""

from collections.abc import Sequence

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.belt.belt import Belt
from gatesim.motion.passage import Passage

GRIP = 0.95
"""Friction needed over what there is, up to which no phase in between needs all of it."""


def smooth(belt: Belt, motions: Sequence[Passage], positions: Array) -> Flags:
    """Trials (n,) whose times at ``positions`` (n, p; NaN is not asked for) are analytic in the phase.

    ``motions`` of the same trials at phases of release evenly over a turn. So it is where the belt carries
    the part for good at all of them, has run up by then, and catches it clearly before or behind every
    position: a motion that changes its law before a position at one phase, and behind it at another, has
    a kink there.
    """
    caught = np.stack([motion.caught_position for motion in motions])
    since = np.stack([motion.caught_time for motion in motions])
    grip = np.stack([motion.grip for motion in motions])
    lowest, highest = caught.min(axis=0), caught.max(axis=0)
    # of a first harmonic a dozen phases miss a thirtieth of the range: as much again as it is wide
    margin = highest - lowest
    with np.errstate(invalid="ignore"):  # NaN: never caught, or not asked for
        before, behind = (lowest - margin)[:, None], (highest + margin)[:, None]
        clear = (positions < before) | (positions > behind) | np.isnan(positions)
        earliest = 2 * since.min(axis=0) - since.max(axis=0)
        found: Flags = clear.all(axis=1) & (earliest >= belt.ramp) & (grip <= GRIP).all(axis=0)
    return found
