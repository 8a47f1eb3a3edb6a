"""Drag of a row of magnets on a long bar: the sum over wave numbers along the path."""

from dataclasses import dataclass
from functools import cached_property, lru_cache
from math import ceil, pi
from typing import Any

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.field import wave
from gatesim.motion.magnets.mesh import mesh_of
from gatesim.motion.magnets.plate import plate_response
from gatesim.motion.magnets.section import Section
from gatesim.motion.magnets.shapes import MU_0, Bar, Blocks

COARSE, FINE = 1.3, 2.2
"""Fineness of the two meshes of a section."""


@dataclass(frozen=True)
class Drag:
    """Drag of a bar of 1 S/m under magnets of 1 T: coefficient b, and F/(b v) (n,) at speeds (n,).

    b goes with the conductivity and with the square of the remanence, the speeds with 1/conductivity.
    """

    coefficient: float
    speed: Array
    weakening: Array

    def over_speed(self, v: Array) -> Array:
        """F/v in kg/s at speeds v (m,) in m/s up to the last of the table."""
        weakening = self._spline(np.log(np.maximum(v, self.speed[1])))
        return np.asarray(self.coefficient * weakening)

    def peak(self) -> tuple[float, float]:
        """Critical speed in m/s, where the force is largest, and that force in N."""
        from scipy.optimize import minimize_scalar

        top = int(np.argmax(self.speed * self.weakening))
        around = np.log(self.speed[[max(top - 1, 0), min(top + 1, self.speed.size - 1)]])
        found = minimize_scalar(
            lambda x: -np.exp(x) * self._spline(x), bounds=tuple(around), method="bounded"
        )
        return float(np.exp(found.x)), -float(found.fun) * self.coefficient

    @cached_property
    def _spline(self) -> Any:
        from scipy.interpolate import CubicSpline

        return CubicSpline(np.log(self.speed[1:]), self.weakening[1:], bc_type="natural")


def wide(blocks: Blocks, bar: Bar) -> bool:
    """Whether the bar is a plate to these magnets: currents close within its width.

    On a plate of this width b is within 1 % of that of an infinite one (found by comparing the two).
    """
    return not bar.round and bar.solid and bar.width >= blocks.width + 4 * (blocks.length + blocks.gap)


@lru_cache(maxsize=256)
def drag(blocks: Blocks, bar: Bar) -> Drag:
    """Drag of a long bar at any speed.

    A section's b comes from two meshes: the error of finite volumes goes with the square of the cells'
    size (Richardson). How the force weakens with speed is taken from the coarser one (the peak to 2 %).
    """
    depth = min(bar.height, bar.wall, blocks.length / pi)
    v = np.concatenate([[1e-4], np.geomspace(0.02, 60, 32)]) * 2 / (MU_0 * depth)
    k = _waves(blocks)
    if wide(blocks, bar):
        whole = _sum(blocks, k, plate_response(blocks, bar.height, k, v))
        return Drag(float(whole[0]), v, whole / whole[0])
    coarse = Section(mesh_of(bar, blocks, COARSE))
    response = np.empty((k.size, v.size))
    for i, each in enumerate(k):
        drive = coarse.drive(*wave(blocks, bar.height, coarse.mesh.at, each))
        weight, time = coarse.spectrum(drive, each)
        response[i] = (1 / (1 + np.multiply.outer(each * v, time) ** 2)) @ weight
    whole = _sum(blocks, k, response)
    fine = Section(mesh_of(bar, blocks, FINE))
    slow = np.empty((k.size, 1))
    for i, each in enumerate(k):
        drive = fine.drive(*wave(blocks, bar.height, fine.mesh.at, each))
        slow[i] = fine.slow(drive[:, None], each)
    b = float(_sum(blocks, k, slow)[0])
    return Drag(b + (b - float(whole[0])) / ((FINE / COARSE) ** 2 - 1), v, whole / whole[0])


def _waves(blocks: Blocks) -> Array:
    """Wave numbers at which a section is solved; between them is interpolated (b to 1e-3, mostly 3e-4)."""
    size = blocks.finest * max(blocks.length, blocks.width)
    number = int(np.clip(4 + 8 * np.log10(size), 18, 32))
    waves: Array = blocks.finest * ((np.arange(number) + 0.5) / number) ** 3
    return waves


def _sum(blocks: Blocks, k: Array, response: Array) -> Array:
    """(1/pi) * integral over k > 0 of |profile|^2 response (n, m): (m,)."""
    from scipy.interpolate import CubicSpline

    end = blocks.finest
    at = np.concatenate([[0.0], np.cbrt(k / end), [1.0]])
    nothing = np.zeros((1, response.shape[1]))
    smooth = CubicSpline(at, np.vstack([nothing, response, nothing]))
    panels = ceil(end * blocks.extent / pi) + 30
    node, weight = np.polynomial.legendre.leggauss(6)
    fine = (np.arange(panels)[:, None] + (node + 1) / 2).ravel() * end / panels
    weight = np.tile(weight / 2 * end / panels, panels)
    total: Array = (weight * blocks.spectrum(fine)) @ smooth(np.cbrt(fine / end)) / pi
    return total
