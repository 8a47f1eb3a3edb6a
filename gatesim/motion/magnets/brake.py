"""A magnet brake as the motion needs it: its strength, its drag curve and its share along the path.

Geometry is worked out once, for 1 T and 1 S/m; remanence and conductivity only scale it. What a dimension
that differs from trial to trial changes is found from two more geometries each (`strength.py`).
"""

from functools import lru_cache

import numpy as np

from gatesim.motion.magnets.curve import Curve, fitted
from gatesim.motion.magnets.lengthwise import Drag, drag
from gatesim.motion.magnets.pieces import Profile, smooth
from gatesim.motion.magnets.profile import profile
from gatesim.motion.magnets.shapes import Bar, Blocks, Tube
from gatesim.motion.magnets.strength import Strength
from gatesim.motion.magnets.tube import tube_cover, tube_drag


def block_strength(blocks: Blocks, bar: Bar) -> Strength:
    """Strength of 1 T on 1 S/m."""
    return _strength(drag(blocks, bar))


def tube_strength(tube: Tube) -> Strength:
    """Strength of 1 T in 1 S/m."""
    return _strength(tube_drag(tube))


def _strength(found: Drag) -> Strength:
    critical, peak = found.peak()
    return Strength(found.coefficient, peak, critical)


@lru_cache(maxsize=256)
def block_curve(blocks: Blocks, bar: Bar, up_to: float) -> Curve:
    """Drag curve at 1 S/m with as few terms as it takes up to a speed in m/s."""
    found = drag(blocks, bar)
    return fitted(found.speed, found.weakening, up_to)


@lru_cache(maxsize=256)
def tube_curve(tube: Tube, up_to: float) -> Curve:
    """The same for a magnet in a tube."""
    found = tube_drag(tube)
    return fitted(found.speed, found.weakening, up_to)


def block_profile(blocks: Blocks, bar: Bar, length: float) -> Profile:
    """Share of the strength along the path for a part of this length in m."""
    return profile(blocks, bar, length)


@lru_cache(maxsize=64)
def tube_profile(tube: Tube, length: float, part: float) -> Profile:
    """Share along the path of a magnet in the middle of a part (m), in a tube of this length (m)."""
    far = min(tube.height / 2 + 3 * tube.outer, length / 2 + tube.height / 2 + 3 * tube.outer)
    centre = np.linspace(-far, max(far, 0.0) if 2 * far < length else length / 2, 121)
    return smooth(centre + part / 2, tube_cover(tube, centre) - tube_cover(tube, centre - length))
