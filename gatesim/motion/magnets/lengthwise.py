"""Drag of a row of magnets on a long bar: the sum over wave numbers along the path."""

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, pi

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.field import wave
from gatesim.motion.magnets.mesh import mesh_of
from gatesim.motion.magnets.plate import plate_response
from gatesim.motion.magnets.quadrature import gauss
from gatesim.motion.magnets.section import Section
from gatesim.motion.magnets.shapes import MU_0, Bar, Blocks

COARSE, FINE = 1.3, 2.2
"""Fineness of the two meshes of a section."""

SPEEDS = 28
"""Speeds at which the drag is computed; the polynomial through them is good to 1e-4."""

EDGE = float(np.log(3000) / 2 * (1 / np.cos(np.pi / (2 * SPEEDS)) - 1))
"""How far, in ln v, the range of the polynomial reaches beyond its first and last node."""


@dataclass(frozen=True)
class Drag:
    """Drag of a bar of 1 S/m under magnets of 1 T: coefficient b, and F/(b v) (n,) at speeds (n,).

    b goes with the conductivity and with the square of the remanence, the speeds with 1/conductivity.
    """

    coefficient: float
    speed: Array
    weakening: Array

    def over_speed(self, v: Array) -> Array:
        """F/v in kg/s at speeds v (m,) in m/s within the table, which is that of `speeds`."""
        found: Array = self.coefficient * interpolated(self.weakening[1:], self._place(v))
        return found

    def peak(self) -> tuple[float, float]:
        """Critical speed in m/s, where the force is largest, and that force in N."""
        v = np.geomspace(self.speed[1], self.speed[-1], 4001)
        force = v * self.over_speed(v)
        top = int(np.argmax(force))
        return float(v[top]), float(force[top])

    def _place(self, v: Array) -> Array:
        low, high = np.log(self.speed[1]) - EDGE, np.log(self.speed[-1]) + EDGE
        placed: Array = (2 * np.log(np.maximum(v, self.speed[1])) - low - high) / (high - low)
        return placed


def nodes(number: int) -> Array:
    """Chebyshev nodes (number,) on [-1, 1], rising."""
    rising: Array = -np.cos(np.pi * (np.arange(number) + 0.5) / number)
    return rising


def interpolated(values: Array, x: Array) -> Array:
    """The polynomial through ``values`` (n, ...) at the Chebyshev nodes, at x (m,): (m, ...)."""
    from numpy.polynomial.chebyshev import chebvander

    number = len(values)
    coefficients = 2 / number * np.tensordot(chebvander(nodes(number), number - 1), values, (0, 0))
    coefficients[0] /= 2
    found: Array = np.tensordot(chebvander(x, number - 1), coefficients, 1)
    return found


def spline(at: Array, values: Array, x: Array) -> Array:
    """The natural cubic spline through ``values`` (n, k) at rising ``at`` (n,), at x (m,): (m, k).

    Textbook (de Boor, A Practical Guide to Splines, 1978, IV); here because scipy.interpolate takes longer to
    load than the whole brake to compute.
    """
    size = np.diff(at)
    rise = np.diff(values, axis=0) / size[:, None]
    matrix = np.diag(np.concatenate([[1.0], 2 * (size[:-1] + size[1:]), [1.0]]))
    inner = np.arange(1, at.size - 1)
    matrix[inner, inner - 1], matrix[inner, inner + 1] = size[:-1], size[1:]
    bend = np.linalg.solve(matrix, np.pad(6 * np.diff(rise, axis=0), ((1, 1), (0, 0))))
    i = np.clip(np.searchsorted(at, x, side="right") - 1, 0, size.size - 1)
    left, right = (x - at[i])[:, None], (at[i + 1] - x)[:, None]
    h = size[i][:, None]
    found: Array = (bend[i] * right**3 + bend[i + 1] * left**3) / (6 * h)
    found += (values[i] / h - bend[i] * h / 6) * right + (values[i + 1] / h - bend[i + 1] * h / 6) * left
    return found


def speeds(depth: float) -> Array:
    """Speeds (n,) in m/s at which the drag on a conductor of 1 S/m and a depth in m is computed.

    Rest, and Chebyshev nodes of the logarithm.
    """
    low, high = np.log(0.02), np.log(60)
    placed = (low + high) / 2 + (high - low) / 2 * nodes(SPEEDS)
    found: Array = np.concatenate([[1e-4], np.exp(placed)]) * 2 / (MU_0 * depth)
    return found


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
    v = speeds(depth)
    k = _waves(blocks)
    if wide(blocks, bar):
        whole = _sum(blocks, plate_response(blocks, bar.height, k, v))
        return Drag(float(whole[0]), v, whole / whole[0])
    coarse = Section(mesh_of(bar, blocks, COARSE))
    response = np.empty((k.size, v.size))
    for i, each in enumerate(k):
        drive = coarse.drive(*wave(blocks, bar.height, coarse.mesh.at, each))
        weight, time = coarse.spectrum(drive, each)
        response[i] = (1 / (1 + np.multiply.outer(each * v, time) ** 2)) @ weight
    whole = _sum(blocks, response)
    fine = Section(mesh_of(bar, blocks, FINE))
    slow = np.empty((k.size, 1))
    for i, each in enumerate(k):
        drive = fine.drive(*wave(blocks, bar.height, fine.mesh.at, each))
        slow[i] = fine.slow(drive[:, None], each)
    b = float(_sum(blocks, slow)[0])
    return Drag(b + (b - float(whole[0])) / ((FINE / COARSE) ** 2 - 1), v, whole / whole[0])


def _waves(blocks: Blocks) -> Array:
    """Wave numbers at which a section is solved: evenly spaced cube roots (b is good to 1e-3)."""
    size = blocks.finest * max(blocks.length, blocks.width)
    number = int(np.clip(4 + 8 * np.log10(size), 18, 32))
    waves: Array = blocks.finest * ((np.arange(number) + 0.5) / number) ** 3
    return waves


def _sum(blocks: Blocks, response: Array) -> Array:
    """(1/pi) * integral over k > 0 of |profile|^2 response (n, m), given at `_waves`: (m,)."""
    end = blocks.finest
    panels = ceil(end * blocks.extent / pi) + 30
    node, weight = gauss(6)
    fine = (np.arange(panels)[:, None] + (node + 1) / 2).ravel() * end / panels
    weight = np.tile(weight / 2 * end / panels, panels)
    at = np.concatenate([[0.0], np.cbrt(_waves(blocks) / end), [1.0]])
    nothing = np.zeros((1, response.shape[1]))
    smooth = spline(at, np.vstack([nothing, response, nothing]), np.cbrt(fine / end))
    weight = weight * blocks.spectrum(fine)
    total: Array = weight @ smooth / pi
    return total
