"""Brake coefficients from magnet geometry."""

import magpylib
import numpy as np
import pytest
from numpy.testing import assert_allclose

from gatesim.motion.force.magnet import (
    MU_0,
    radial_field,
    sheet_coefficient,
    sheet_critical_speed,
    tube_coefficient,
)


def test_radial_field_of_a_cylinder_is_that_of_an_independent_library():
    magnet = magpylib.magnet.Cylinder(polarization=(0, 0, 1.1), dimension=(0.012, 0.010))
    for z in (0.0, 0.002, 0.005, 0.011, 0.05):
        r = np.array([0.0065, 0.007, 0.02])
        field = magnet.getB([(x, 0, z) for x in r])[:, 0]
        assert_allclose(radial_field(1.1, 0.006, 0.010, r, z), field, rtol=1e-8, atol=1e-12)


def test_small_magnet_in_a_tube_is_a_dipole():
    # b = (45/1024) mu0^2 sigma w m^2/a^4 (Levin, da Silveira, Rizzato, Am. J. Phys. 74 (2006) 815; derived),
    # thick wall: a^-4 w becomes (a_i^-3 - a_o^-3)/3. A 0.1 mm magnet deviates by (0.1/6.5)^2.
    radius = height = 1e-4
    m = np.pi * radius**2 * height / MU_0
    for outer in (0.0065 * 1.0001, 0.0105):
        wall = (0.0065**-3 - outer**-3) / 3
        dipole = 45 / 1024 * MU_0**2 * 5.8e7 * m**2 * wall
        assert_allclose(tube_coefficient(1.0, radius, height, 0.0065, outer, 5.8e7), dipole, rtol=5e-4)


def test_published_terminal_speed_lies_within_the_bracket():
    # copper tube 1 m long, radii 6.5 and 7.5 mm; cylinder 9.3 g, radius 6 mm, height 10 mm, falls in 12.3 s:
    # b = 1.12 kg/s (Eur. J. Phys. 25 (2004) 593, as quoted in an exercise; remanence and conductivity are
    # not given). Annealed copper (IEC 60028) and 1.00 T give 1.27; usual sintered magnets have 0.85 to 1.1 T.
    measured = 9.3e-3 * 9.80665 * 12.3
    assert_allclose(tube_coefficient(1.0, 0.006, 0.010, 0.0065, 0.0075, 5.8e7), 1.27, atol=0.005)
    low, high = (tube_coefficient(br, 0.006, 0.010, 0.0065, 0.0075, 5.8e7) for br in (0.85, 1.1))
    assert low < measured < high


def test_small_magnet_over_a_sheet_is_a_dipole():
    # thin sheet at low speed: b = F_image/(2 w), F_image = 3 mu0 m^2/(32 pi h^4), w = 2/(mu0 sigma d)
    # (Saslow, Am. J. Phys. 60 (1992) 693, from memory)
    edge, gap, d, sigma = 1e-4, 0.01, 1e-6, 1e7
    m = edge**3 / MU_0
    image = 3 * MU_0 * m**2 / (32 * np.pi * (gap + edge / 2) ** 4)
    expected = image / (2 * sheet_critical_speed(d, sigma))
    assert_allclose(sheet_coefficient(1.0, (edge, edge, edge), gap, d, sigma), expected, rtol=4e-4)


def test_cuboid_over_a_sheet_by_fourier_transform_of_an_independent_field():
    """The same dissipation from magpylib's B_z on a grid; 0.5 % for the grid's finite extent."""
    size, gap, d, sigma = (0.02, 0.03, 0.01), 0.004, 1e-4, 2.5e7
    magnet = magpylib.magnet.Cuboid(polarization=(0, 0, 1.2), dimension=size)
    n, step = 256, 0.00125
    axis = (np.arange(n) - n / 2) * step
    x, y = np.meshgrid(axis, axis, indexing="ij")
    z = np.full_like(x, -size[2] / 2 - gap - d / 2)
    field = magnet.getB(np.stack([x, y, z], axis=-1))[..., 2]
    k = 2 * np.pi * np.fft.fftfreq(n, step)
    kx, ky = np.meshgrid(k, k, indexing="ij")
    square = kx**2 + ky**2
    square[0, 0] = 1.0
    spectrum = np.abs(np.fft.fft2(field) * step**2) ** 2
    dk = 2 * np.pi / (n * step)
    b = sigma * d * np.sum(kx**2 / square * spectrum) * dk**2 / (2 * np.pi) ** 2
    assert_allclose(sheet_coefficient(1.2, size, gap, d, sigma), b, rtol=5e-3)


def test_magnet_that_does_not_fit_is_refused():
    with pytest.raises(ValueError, match="radii"):
        tube_coefficient(1.0, 0.007, 0.01, 0.0065, 0.0075, 5.8e7)
    with pytest.raises(ValueError, match="gap"):
        sheet_coefficient(1.0, (0.01, 0.01, 0.01), 0.0, 1e-3, 5.8e7)
