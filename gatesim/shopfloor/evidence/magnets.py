"""Magnet brakes: field integrals, images, and a magnet that falls through a tube."""

import math
from typing import Any

import numpy as np

from gatesim.motion.magnets.brake import block_strength, tube_strength
from gatesim.motion.magnets.lengthwise import drag
from gatesim.motion.magnets.shapes import MU_0, Bar, Blocks, Tube
from gatesim.motion.magnets.tube import radial_field, tube_coefficient
from gatesim.shopfloor.evidence.check import Check

COPPER = 5.8e7
GRAVITY = 9.80665
MODEL = "independent models agree to 3 %; 5 % leaves room for the mesh"


def _small_magnet_in_thin_tube() -> float:
    """Over (45/1024) mu_0^2 sigma w m^2/a^4 of a dipole; 1 if they agree."""
    size, a, wall = 1e-4, 1e-2, 1e-5
    moment = 1.0 * math.pi * size**2 * 2.0 * size / MU_0
    dipole = 45.0 / 1024.0 * MU_0**2 * wall * moment**2 / a**4
    return tube_coefficient(Tube(size, 2.0 * size, a - wall / 2.0, a + wall / 2.0)) / dipole


def _thick_wall() -> float:
    """Ratio of a thick to a thin wall against (a_i^-3 - a_o^-3)/(3 w a^-4)."""
    size, inner, outer, wall = 1e-4, 1e-2, 1.6e-2, 1e-5
    thick = tube_coefficient(Tube(size, 2.0 * size, inner, outer))
    thin = tube_coefficient(Tube(size, 2.0 * size, inner - wall / 2.0, inner + wall / 2.0))
    return thick / thin / ((inner**-3 - outer**-3) / 3.0 / (wall * inner**-4))


def _published_fall() -> float:
    """Terminal speed of the published magnet at the remanence of 0.94 T that its speed needs, in m/s."""
    b = 0.94**2 * COPPER * tube_coefficient(Tube(6e-3, 10e-3, 6.5e-3, 7.5e-3))
    return 9.3e-3 * GRAVITY / b


def _thin_plate() -> float:
    """Critical speed of a very thin wide plate under a long row of magnets, over 2/(mu_0 sigma d)."""
    thickness = 1e-4
    row = Blocks(0.02, 0.4, 0.01, 0.004, count=12, pitch=0.02)
    return float(block_strength(row, Bar(2.0, thickness)).critical_speed) * MU_0 * thickness / 2.0


def _plate(thickness: float) -> tuple[float, float]:
    """Critical speed and peak force of the magnet 20 x 20 x 10 mm, 1.2 T, 3 mm over a plate of 30 MS/m."""
    found = block_strength(Blocks(0.02, 0.02, 0.01, 0.003), Bar(0.4, thickness))
    return float(found.critical_speed) / 3e7, float(found.peak_force) * 1.2**2


def _coefficient(bar: Bar) -> float:
    """Low-speed coefficient under the same magnet."""
    return drag(Blocks(0.02, 0.02, 0.01, 0.003), bar).coefficient * 1.2**2 * 3e7


def _axis_field() -> Any:
    """Radial field beside the magnet by magpylib, T."""
    import magpylib

    cylinder: Any = magpylib.magnet.Cylinder
    magnet = cylinder(polarization=(0, 0, 1.0), dimension=(0.012, 0.010))
    places = [(r, 0.0, z) for r, z in ((0.0065, 0.003), (0.007, 0.005), (0.0075, 0.012))]
    return [float(b[0]) for b in magnet.getB(places)]


def _our_field() -> list[float]:
    return [
        float(radial_field(1.0, 0.006, 0.010, np.array([r]), z)[0])
        for r, z in ((0.0065, 0.003), (0.007, 0.005), (0.0075, 0.012))
    ]


CHECKS = (
    Check(
        "A dipole in a thin tube is braked with (45/1024) mu0^2 sigma w m^2/a^4",
        "Levin, da Silveira, Rizzato, Am. J. Phys. 74 (2006) 815; MacLatchy et al., Am. J. Phys. 61 (1993) "
        "1096; derived",
        (1.0,),
        _small_magnet_in_thin_tube,
        2e-3,
        "a magnet of a hundredth of the tube is no point yet",
        "ratio",
    ),
    Check(
        "A thick wall is the sum of thin shells: (a_i^-3 - a_o^-3)/3",
        "Donoso, Ladera, Martin, Eur. J. Phys. 30 (2009) 855; derived",
        (1.0,),
        _thick_wall,
        3e-3,
        "finite magnet and wall",
        "ratio",
    ),
    Check(
        "A magnet of 9.3 g falls through 1 m of copper tube in 12.3 s",
        "Eur. J. Phys. 25 (2004) 593-604, as quoted in a published exercise; read. Remanence and "
        "conductivity are not given there: 0.94 T and 58 MS/m are those that fit",
        (0.0813,),
        _published_fall,
        0.0813 * 0.05,
        "two decimals of the remanence, and end effects of the tube",
        "m/s",
    ),
    Check(
        "The receding images of a thin sheet set the critical speed, 2/(mu0 sigma d)",
        "Saslow, Am. J. Phys. 60 (1992) 693; from memory",
        (1.0,),
        _thin_plate,
        0.05,
        "the row and the plate have ends",
        "ratio",
        quick=False,
    ),
    Check(
        "Critical speed and peak force over a plate of 2 mm",
        "spectral solution of an infinite plate, written independently of this package; derived",
        (38.1, 9.8),
        lambda: _plate(2e-3),
        0.5,
        "three digits stated; the curve's top is flat",
        "m/s, N",
    ),
    Check(
        "Critical speed and peak force over a plate of 12 mm, thicker than the field reaches",
        "spectral solution of an infinite plate, written independently of this package; derived",
        (20.4, 7.0),
        lambda: _plate(12e-3),
        0.5,
        "three digits stated; the curve's top is flat",
        "m/s, N",
    ),
    Check(
        "A slat of 25 x 3 mm is braked far less than a wide plate",
        "finite volumes in three dimensions, written independently of this package; derived",
        (0.447,),
        lambda: _coefficient(Bar(0.025, 0.003)),
        0.447 * 0.05,
        MODEL,
        "kg/s",
        quick=False,
    ),
    Check(
        "A solid bar of 20 x 20 mm and a round one of 20 mm",
        "finite volumes in three dimensions, written independently of this package; derived",
        (0.546, 0.281),
        lambda: (_coefficient(Bar(0.02, 0.02)), _coefficient(Bar(0.02, 0.02, round=True))),
        0.281 * 0.05,
        MODEL,
        "kg/s",
        quick=False,
    ),
    Check(
        "The tube of radii 6.5 and 7.5 mm: critical speed and peak force at 1 T",
        "integral over Bessel functions, written independently of this package; derived",
        (42.3, 25.3),
        lambda: (
            float(tube_strength(Tube(6e-3, 10e-3, 6.5e-3, 7.5e-3)).critical_speed) / COPPER,
            float(tube_strength(Tube(6e-3, 10e-3, 6.5e-3, 7.5e-3)).peak_force),
        ),
        0.5,
        "three digits stated; the curve's top is flat",
        "m/s, N",
    ),
    Check(
        "The field of a cylinder magnet beside it",
        "magpylib; independent library",
        _axis_field,
        _our_field,
        1e-7,
        "single precision of the constants on either side",
        "T",
        needs="magpylib",
        quick=False,
    ),
)
