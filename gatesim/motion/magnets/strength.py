"""Strength of a magnet brake for 1 T and 1 S/m, and how it goes with dimensions that vary."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import numpy as np

from gatesim.ground.arrays import Array, Scalar, plain

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
