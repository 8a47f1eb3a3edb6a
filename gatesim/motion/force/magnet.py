"""Low-speed brake coefficients b (force = b * speed, kg/s) from magnet geometry and conductor.

Both are field integrals of the induced currents' dissipation, exact at speeds far below the
critical one, where the currents' own field is negligible. All arguments are floats in SI;
remanence in T, conductivity in S/m (at operating temperature: copper loses 0.39 % per kelvin).

Strong magnets pinch fingers, and harm implants and data carriers: observe the maker's
instructions and local rules.
"""

from math import pi
from typing import Annotated, Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.table import Misfit, Table, TableValues

MU_0 = 1.25663706212e-6
"""Magnetic constant in N/A^2 (CODATA 2018; from memory, the change of 2022 is in the tenth digit)."""


def tube_coefficient(
    remanence: float, radius: float, height: float, inner: float, outer: float, conductivity: float
) -> float:
    """Coefficient of an axially magnetised cylinder (radius, height) moving along a conducting tube.

    Coaxial in a tube of radii ``inner`` < ``outer`` that is long compared with the magnet:
    b = 2 pi sigma times the integral over the wall of r B_rho^2 dr dz, because the electric
    field in the wall is v B_rho. Raises ValueError if the magnet does not fit.
    """
    from scipy.integrate import quad_vec

    if not 0 < radius < inner < outer:
        raise ValueError(f"radii must be 0 < magnet {radius} < inner {inner} < outer {outer}")
    # near the magnet's edge the field changes over the gap's width: even steps in log(r - radius)
    s, weights = _gauss(24, np.log(inner - radius), np.log(outer - radius))
    r = radius + np.exp(s)
    weights = weights * (r - radius) * r

    def ring(z: float) -> float:
        return float(np.sum(weights * radial_field(remanence, radius, height, r, z) ** 2))

    edge, gap = height / 2, inner - radius
    pieces = ((0.0, edge), (edge, edge + gap), (edge + gap, edge + 40 * outer), (edge + 40 * outer, np.inf))
    half = 0.0
    for low, high in pieces:  # the far field is nothing but rounding: judge it by what there is
        half += quad_vec(ring, low, high, epsrel=1e-10, epsabs=1e-10 * half)[0]
    return float(2 * 2 * pi * conductivity * half)


def radial_field(remanence: float, radius: float, height: float, r: Array, z: float) -> Array:
    """Radial flux density in T of an axially magnetised cylinder at (r, z) from its centre.

    N. Derby, S. Olbert, Am. J. Phys. 78 (2010) 229, from memory; the field is that of a thin
    solenoid. Their integral C(k, 1, 1, -1) is K - 2/3 R_D in Carlson's form.
    """
    from scipy.special import ellipkm1, elliprd

    def end(distance: float) -> Array:
        far = distance**2 + (r + radius) ** 2
        rest = (distance**2 + (r - radius) ** 2) / far  # 1 - m
        value: Array = (ellipkm1(rest) - 2 / 3 * elliprd(0.0, rest, 1.0)) * radius / np.sqrt(far)
        return value

    return remanence / pi * (end(z + height / 2) - end(z - height / 2))


def sheet_coefficient(
    remanence: float,
    size: tuple[float, float, float],
    gap: float,
    thickness: float,
    conductivity: float,
) -> float:
    """Coefficient of a cuboid magnet over a wide conducting sheet, moving along the sheet.

    size: edges along the motion, across it, and normal to the sheet, which is the direction of
    magnetisation. gap: from the magnet's face to the sheet's surface. With B the normal flux
    density at the surface, Fourier transformed over the sheet's plane, k the wave number,

        b = sigma/(2 pi)^2 * integral of (k_x/k)^2 |B|^2 (1 - exp(-2 k d))/(2 k) d^2k,
        |B| = remanence/2 * exp(-k gap) (1 - exp(-k height)) * l_x sinc(k_x l_x/2) l_y sinc(k_y l_y/2).

    The factor (k_x/k)^2 is the share that the currents' return paths leave (derived: currents are
    free of divergence in every layer of the sheet). Raises ValueError for a gap that is not positive.
    """
    if gap <= 0:
        raise ValueError(f"gap {gap} must be positive")
    along, across, height = size
    end = 20 / gap  # exp(-2 k gap) is 4e-18 there
    panels = int(np.ceil(end * (along + across + gap) / pi)) + 8
    node, weight = _gauss(8, 0.0, 1.0)
    k = ((np.arange(panels)[:, None] + node) * (end / panels)).ravel()
    weight = np.tile(weight * (end / panels), panels)
    angle, angle_weight = _gauss(2 * panels + 32, 0.0, pi / 2)
    total = 0.0
    for phi, share in zip(angle, angle_weight, strict=True):
        kx, ky = k * np.cos(phi), k * np.sin(phi)
        face = along * np.sinc(kx * along / (2 * pi)) * across * np.sinc(ky * across / (2 * pi))
        field = remanence / 2 * np.exp(-k * gap) * -np.expm1(-k * height) * face
        depth = -np.expm1(-2 * k * thickness) / (2 * k)
        total += share * np.cos(phi) ** 2 * float(np.sum(weight * k * field**2 * depth))
    return conductivity * 4 * total / (2 * pi) ** 2


def sheet_critical_speed(thickness: float, conductivity: float) -> float:
    """Scale of the critical speed of a thin sheet: w = 2/(mu_0 sigma d), in m/s.

    The speed at which image currents recede (W. M. Saslow, Am. J. Phys. 60 (1992) 693, from
    memory). For a dipole the peak lies at w sqrt((1 + sqrt 5)/2) = 1.27 w (derived from the drag
    given there), for wide magnets nearer w: measure it where it matters.
    """
    return 2 / (MU_0 * conductivity * thickness)


def _gauss(order: int, low: float, high: float) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre quadrature on [low, high]."""
    node, weight = np.polynomial.legendre.leggauss(order)
    return low + (high - low) * (node + 1) / 2, weight * (high - low) / 2


class SheetMagnet(Table):
    """A block magnet above a flat conductor: the brake acts on the part as a conducting sheet."""

    geometry: Literal["block-over-sheet"]
    remanence: keys.FluxDensity = Field(description="Remanence of the magnet, magnetised across the sheet.")
    length: keys.Length = Field(description="Length of the magnet along the path.")
    width: keys.Length = Field(description="Width of the magnet across the path.")
    height: keys.Length = Field(description="Height of the magnet.")
    gap: keys.Length = Field(description="Distance from the magnet's face to the surface of the sheet.")
    sheet_thickness: keys.Length = Field(description="Thickness of the conductor.")
    conductivity: keys.Conductivity = Field(description="Conductivity of the conductor.")

    def check(self) -> None:
        """Any values fit together."""

    def brake(self, values: TableValues) -> tuple[Scalar, Scalar]:
        """Low-speed coefficient in kg/s and critical speed in m/s.

        The field integral is taken once for unit remanence and conductivity, of which the
        coefficient is the square and the first power.
        """
        size = (self.length.nominal, self.width.nominal, self.height.nominal)
        thickness = self.sheet_thickness.nominal
        unit = sheet_coefficient(1.0, size, self.gap.nominal, thickness, 1.0)
        return _scaled(unit, thickness, values)


class TubeMagnet(Table):
    """A cylindrical magnet carried through a conducting tube along its axis."""

    geometry: Literal["cylinder-in-tube"]
    remanence: keys.FluxDensity = Field(description="Remanence of the magnet, magnetised along the axis.")
    radius: keys.Length = Field(description="Radius of the magnet.")
    height: keys.Length = Field(description="Height of the magnet along the axis.")
    tube_inner_radius: keys.Length = Field(description="Inner radius of the tube.")
    tube_outer_radius: keys.Length = Field(description="Outer radius of the tube.")
    conductivity: keys.Conductivity = Field(description="Conductivity of the tube.")

    def check(self) -> None:
        """Raise Misfit unless the magnet fits into the tube."""
        radii = (self.radius.nominal, self.tube_inner_radius.nominal, self.tube_outer_radius.nominal)
        if not radii[0] < radii[1] < radii[2]:
            given = f"{self.radius.text}, {self.tube_inner_radius.text}, {self.tube_outer_radius.text}"
            raise Misfit("brake.magnet.radius", given, "magnet, inner and outer tube radius in rising order")

    def brake(self, values: TableValues) -> tuple[Scalar, Scalar]:
        """As of `SheetMagnet`."""
        inner, outer = self.tube_inner_radius.nominal, self.tube_outer_radius.nominal
        unit = tube_coefficient(1.0, self.radius.nominal, self.height.nominal, inner, outer, 1.0)
        return _scaled(unit, outer - inner, values)


def _scaled(unit: float, thickness: float, values: TableValues) -> tuple[Scalar, Scalar]:
    """Coefficient and critical speed from the coefficient at unit remanence and conductivity."""
    conductivity = values["conductivity"]
    critical = sheet_critical_speed(thickness, 1.0) / conductivity
    return unit * values["remanence"] ** 2 * conductivity, critical


Magnet = Annotated[SheetMagnet | TubeMagnet, Field(discriminator="geometry")]

# The field integral of a magnet is computed once, so its dimensions are the same in every trial.
SHAPE = frozenset(
    key
    for model in (SheetMagnet, TubeMagnet)
    for key in model.model_fields
    if key not in ("remanence", "conductivity")
)
