"""Flux density of block magnets over the cross-section of the part."""

from math import ceil, pi

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.quadrature import gauss
from gatesim.motion.magnets.shapes import Blocks


def wave(blocks: Blocks, depth: float, at: Array, k: float) -> tuple[Array, Array]:
    """B_y and B_z (n,) in T at points (n, 2) as (y, z), of 1 T and of a profile exp(ikx) along the path.

    The magnets' faces are sheets of magnetic charge (depth: from the part's upper surface to its lower
    one, which a second row faces). A line of charge lambda exp(ikx) has the potential
    lambda K_0(k rho)/(2 pi); the lines are summed across the sheet by Gauss-Legendre quadrature.
    The row's own profile is Blocks.spectrum.
    """
    from scipy.special import k1

    total_y, total_z = np.zeros(len(at)), np.zeros(len(at))
    for charge, level in _sheets(blocks, depth):
        # smooth on the scale of the distance between the sheet and the part
        across, weight = _nodes(blocks.width, np.min(np.abs(at[:, 1] - level)))
        y = at[:, :1] - across
        z = at[:, 1:] - level
        square = y * y + z * z
        rho = np.sqrt(square)
        field = weight * k1(k * rho) * (charge * k / (2 * pi)) / rho
        total_y += np.sum(field * y, axis=1)
        total_z += np.sum(field * z, axis=1)
    return total_y, total_z


def _sheets(blocks: Blocks, depth: float) -> list[tuple[float, float]]:
    """Charge of each face in T and its z; opposite rows have unlike poles facing."""
    near, far = blocks.gap, blocks.gap + blocks.height
    sheets = [(-1.0, near), (1.0, far)]
    if blocks.both_sides:
        sheets += [(1.0, -depth - near), (-1.0, -depth - far)]
    return sheets


def _nodes(width: float, scale: float) -> tuple[Array, Array]:
    """Quadrature over a sheet's width, for integrands smooth on a scale in m."""
    panels = max(2, ceil(width / (1.5 * scale)))
    node, weight = gauss(5)
    size = width / panels
    left = -width / 2 + size * np.arange(panels)[:, None]
    return (left + size * (node + 1) / 2).ravel(), np.tile(weight * size / 2, panels)


def still(blocks: Blocks, depth: float, x: Array, at: Array) -> tuple[Array, Array]:
    """B_y and B_z (n, m) in T of one magnet of 1 T, its first edge at 0, at x (n,) and points (m, 2)."""
    total_y = np.zeros((x.size, len(at)))
    total_z = np.zeros_like(total_y)
    for charge, level in _sheets(blocks, depth):
        z = at[:, 1] - level
        for side_x in (0.0, blocks.length):
            u = x[:, None] - side_x
            for side_y in (-blocks.width / 2, blocks.width / 2):
                v = at[:, 0] - side_y
                r = np.sqrt(u * u + v * v + z * z)
                sign = charge / (4 * pi) * (1 if (side_x > 0) == (side_y > 0) else -1)
                total_z += sign * np.arctan2(u * v, z * r)
                total_y -= sign * np.log(r + u)
    return total_y, total_z
