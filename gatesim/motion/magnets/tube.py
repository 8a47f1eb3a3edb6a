"""A cylindrical magnet, magnetised along its axis, that travels along a conducting tube.

Strong magnets pinch fingers, and harm implants and data carriers: observe the maker's instructions and
local rules.
"""

from functools import lru_cache
from math import ceil, pi

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.lengthwise import Drag, speeds
from gatesim.motion.magnets.quadrature import gauss
from gatesim.motion.magnets.shapes import MU_0, Tube


@lru_cache(maxsize=256)
def tube_drag(tube: Tube) -> Drag:
    """Drag in a long tube of 1 S/m of a magnet of 1 T, at any speed.

    The magnet is a thin solenoid; its azimuthal vector potential outside is a sum of K_1(kr) exp(ikz). In
    the wall I_1 and K_1 of gamma r, gamma^2 = k^2 + i mu_0 sigma k v, join it (A and the slope of rA are
    continuous); the wave rho I_1(kr) that comes back brakes with

        F = (2 a^2 B_r^2/mu_0) * integral over k > 0 of k I_1(ka)^2 (h sinc(kh/2))^2 |Im rho|

    (derived; at low speed the field integral of tube_coefficient; thin walls: Partovi and Morris, Can. J.
    Phys. 84 (2006) 253).
    """
    depth = min(tube.outer - tube.inner, tube.inner)
    v = speeds(depth)
    end = 8 / (tube.inner - tube.radius)
    panels = ceil(end * tube.height / (2 * pi)) + 12
    node, weight = gauss(6)
    # finer towards k = 0, where waves reach through the wall
    s = (np.arange(panels)[:, None] + (node + 1) / 2).ravel() / panels
    k = end * s**1.5
    weight = np.tile(weight / 2 / panels, panels) * 1.5 * end * np.sqrt(s)
    face = tube.height * np.sinc(k * tube.height / (2 * pi))
    share = weight * k * face**2 * 2 * tube.radius**2 / MU_0
    whole = np.array([float(share @ _returned(tube, k, each)) / each for each in v])
    return Drag(tube_coefficient(tube), v, whole / whole[0])


def _returned(tube: Tube, k: Array, speed: float) -> Array:
    """I_1(ka)^2 |Im rho| (n,); Bessel functions scaled by their exponentials throughout."""
    from scipy.special import i1e, ive, k0e, k1e, kve

    gamma = np.sqrt(k * k + 1j * MU_0 * k * speed)
    inner, outer = gamma * tube.inner, gamma * tube.outer

    def falling(order: int, z: Array) -> Array:
        scaled: Array = kve(order, z) * np.exp(-1j * z.imag)  # K exp(Re z), as ive is I exp(-Re z)
        return scaled

    beyond = k * k0e(k * tube.outer) / k1e(k * tube.outer)
    echo = (gamma * falling(0, outer) - beyond * falling(1, outer)) / (
        gamma * ive(0, outer) + beyond * ive(1, outer)
    )
    echo = echo * np.exp(2 * (inner.real - outer.real))
    slope = gamma * (echo * ive(0, inner) - falling(0, inner)) / (echo * ive(1, inner) + falling(1, inner))
    near = k * tube.inner
    rho = (slope * k1e(near) + k * k0e(near)) / (k * ive(0, near) - slope * i1e(near))
    returned: Array = (
        i1e(k * tube.radius) ** 2 * np.exp(2 * k * (tube.radius - tube.inner)) * np.abs(rho.imag)
    )
    return returned


def tube_coefficient(tube: Tube) -> float:
    """Low-speed coefficient b in kg/s in a long tube of 1 S/m of a magnet of 1 T.

    b = 2 pi sigma times the integral over the wall of r B_rho^2 dr dz, because the electric field in the
    wall is v B_rho.
    """
    edge, gap = tube.height / 2, tube.inner - tube.radius
    far = edge + 40 * tube.outer
    # panels grow away from the magnet's edge, where the field changes over the gap's width
    steps = gap * np.concatenate([[0.0], np.geomspace(0.25, 1 + far / gap, 40)])
    lines = np.concatenate([edge - steps[edge > steps][::-1], edge + steps[1:]])
    lines = np.concatenate([[0.0], lines])
    node, weight = gauss(10)
    z = lines[:-1, None] + np.diff(lines)[:, None] * (node + 1) / 2
    weight = np.diff(lines)[:, None] * weight / 2
    half = float(np.sum(weight.ravel() * _ring(tube, z.ravel())))
    return 2 * 2 * pi * half


def tube_cover(tube: Tube, z: Array) -> Array:
    """Share of b (n,) that a tube from -infinity to z (n,), in order, has; z from the magnet's centre."""
    reach = tube.height / 2 + 3 * tube.outer
    at = np.linspace(-reach, reach, 801)
    ring = _ring(tube, at)
    whole = np.concatenate([[0.0], np.cumsum((ring[1:] + ring[:-1]) / 2)])
    return np.asarray(np.interp(z, at, whole / whole[-1]))


def _ring(tube: Tube, z: Array) -> Array:
    """Integral over the wall of r B_rho^2 dr (n,) at heights z (n,), in T^2 m^2."""
    # near the magnet's edge the field changes over the gap's width: even steps in log(r - radius)
    node, weight = gauss(20)
    low, high = np.log(tube.inner - tube.radius), np.log(tube.outer - tube.radius)
    s = low + (high - low) * (node + 1) / 2
    r = tube.radius + np.exp(s)
    weight = weight * (high - low) / 2 * (r - tube.radius) * r
    field = radial_field(1.0, tube.radius, tube.height, r, z[:, None])
    ring: Array = field**2 @ weight
    return ring


def radial_field(remanence: float, radius: float, height: float, r: Array, z: Array | float) -> Array:
    """Radial flux density in T of an axially magnetised cylinder at (r, z) from its centre.

    N. Derby, S. Olbert, Am. J. Phys. 78 (2010) 229, from memory; the field is that of a thin
    solenoid. Their integral C(k, 1, 1, -1) is K - 2/3 R_D in Carlson's form.
    """
    from scipy.special import ellipkm1, elliprd

    def end(distance: Array | float) -> Array:
        far = distance**2 + (r + radius) ** 2
        rest = (distance**2 + (r - radius) ** 2) / far  # 1 - m
        value: Array = (ellipkm1(rest) - 2 / 3 * elliprd(0.0, rest, 1.0)) * radius / np.sqrt(far)
        return value

    return remanence / pi * (end(z + height / 2) - end(z - height / 2))
