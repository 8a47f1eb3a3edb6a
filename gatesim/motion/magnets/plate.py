"""Drag on a plate much wider than the magnets, exact at any speed and thickness."""

from math import ceil, pi

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.quadrature import gauss
from gatesim.motion.magnets.shapes import MU_0, Blocks


def plate_response(blocks: Blocks, thickness: float, k: Array, speed: Array) -> Array:
    """Force over speed, per wave number along the path, as ``response`` of a section: (n, m).

    k: (n,) in 1/m. speed: (m,) in m/s, of a plate of 1 S/m under magnets of 1 T. With the magnets' field
    g(kx, ky) at the surface, drag/v = (1/pi) integral over kx > 0 of |profile|^2 times

        1/(pi mu_0) * integral over ky of (kx/k) g^2 Im(r)/v,

    where -r is the reflected over the incident wave: half its even and half its odd part about the middle
    of the plate, in which fields go as cosh and sinh of gamma z, gamma^2 = k^2 + i mu_0 sigma kx v
    (derived: B_z and its slope are continuous at both surfaces, no current flows towards them). Rows on
    both sides excite the even part alone, each by both. At low speed Im(r) is
    mu_0 sigma kx v (1 - exp(-2 k d))/(4 k^2).
    """
    end = blocks.finest
    panels = ceil(end * (blocks.width + 4 * blocks.gap) / pi) + 8
    node, weight = gauss(6)
    ky = (np.arange(panels)[:, None] + (node + 1) / 2).ravel() * end / panels
    weight = np.tile(weight / 2 * end / panels, panels)
    out = np.empty((k.size, speed.size))
    for i, kx in enumerate(k):
        whole = np.hypot(kx, ky)
        face = blocks.width * np.sinc(ky * blocks.width / (2 * pi))
        field = 0.5 * np.exp(-whole * blocks.gap) * -np.expm1(-whole * blocks.height) * face
        share = 2 * weight * kx / whole * field**2 / (pi * MU_0)
        out[i] = _lost(whole, MU_0 * kx * speed, thickness, blocks.both_sides) @ share / speed
    return out


def _lost(k: Array, swept: Array, thickness: float, both_sides: bool) -> Array:
    """Im(r) (m, n) at wave numbers k (n,) and mu_0 sigma kx v (m,)."""
    gamma = np.sqrt(k * k + 1j * swept[:, None])
    half = np.tanh(gamma * (thickness / 2))
    even: Array = (-(k - gamma * half) / (k + gamma * half)).imag
    if both_sides:
        return 2 * even
    odd: Array = (-(k * half - gamma) / (k * half + gamma)).imag
    return (even + odd) / 2
