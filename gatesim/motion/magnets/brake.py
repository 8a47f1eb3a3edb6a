"""A magnet brake as the motion needs it: its strength, its drag curve and its share along the path.

Geometry is worked out once, for 1 T and 1 S/m; remanence and conductivity only scale it. What a dimension
that differs from trial to trial changes is found from two more geometries each.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from gatesim.ground.arrays import Array, Scalar, plain
from gatesim.motion.magnets.curve import Curve, fitted
from gatesim.motion.magnets.lengthwise import Drag, drag
from gatesim.motion.magnets.pieces import Profile, smooth
from gatesim.motion.magnets.profile import profile
from gatesim.motion.magnets.shapes import Bar, Blocks
from gatesim.motion.magnets.tube import Tube, tube_cover, tube_drag

UNCERTAINTY = 0.04
"""Relative standard uncertainty of the computed force.

2 % for the numerical model (it agrees with finite volumes to 3 %, see the tests), and 3 % for magnets that
are not the evenly magnetised blocks of remanence B_r that are computed: with a recoil permeability of 1.05
the field is up to 3 % lower, the force up to 5 % (derived, rectangular).
"""


@dataclass(frozen=True)
class Strength:
    """Of a brake that the part covers: force over speed at low speed (kg/s), peak (N), critical speed (m/s).

    Floats or (n,) arrays.
    """

    coefficient: Scalar
    peak_force: Scalar
    critical_speed: Scalar


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


def with_spread(
    strength: Callable[[Mapping[str, float]], Strength],
    nominal: Mapping[str, float],
    steps: Mapping[str, float],
    values: Mapping[str, Scalar],
) -> Strength:
    """Strength for dimensions ``values``, floats or (n,) arrays, about ``nominal`` ones.

    Its logarithms are taken as quadratic in each dimension, through the strength at one step below and one
    above the nominal value, and the dimensions as acting independently.
    """
    middle = strength(nominal)
    change = {key: np.zeros(()) for key in ("coefficient", "peak_force", "critical_speed")}
    for key, value in values.items():
        if np.all(np.asarray(value) == nominal[key]):
            continue
        x: Array = (np.asarray(value) - nominal[key]) / steps[key]
        below = strength({**nominal, key: nominal[key] - steps[key]})
        above = strength({**nominal, key: nominal[key] + steps[key]})
        for name in change:
            here = getattr(middle, name)
            low, high = np.log(getattr(below, name) / here), np.log(getattr(above, name) / here)
            change[name] = change[name] + x * ((high - low) / 2 + x * (high + low) / 2)
    return replace(
        middle, **{name: plain(getattr(middle, name) * np.exp(log)) for name, log in change.items()}
    )
