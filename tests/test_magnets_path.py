"""Drag along the path: what a part feels while it runs into the magnets and out of them."""

import numpy as np
import pytest
from mpmath import lu_solve, matrix, workdps
from numpy.testing import assert_allclose
from scipy.fft import dct

from gatesim.motion.magnets.lengthwise import drag
from gatesim.motion.magnets.mesh import mesh_of
from gatesim.motion.magnets.pieces import TOLERANCE, least_squares, smooth
from gatesim.motion.magnets.profile import cosines, profile, running_in
from gatesim.motion.magnets.section import Section
from gatesim.motion.magnets.shapes import Bar, Blocks, Tube
from gatesim.motion.magnets.tube import radial_field, tube_cover
from tests.magnet_volumes import cartesian, coefficient, row

SIZE = (0.02, 0.02, 0.01)
BLOCK = Blocks(*SIZE, gap=0.003)
SLAT = Bar(0.025, 0.003)


def volumes(length, at, magnets):
    """Share of an endless slat's drag (n,) by finite volumes, leading end at positions (n,)."""
    endless = drag(BLOCK, SLAT).coefficient * 3e7 * 1.2**2
    cells = max(12, round(length / 0.0018))
    y, z = np.linspace(-0.0125, 0.0125, 15), np.linspace(-0.003, 0, 4)
    meshes = (cartesian(np.linspace(x - length, x, cells + 1), y, z) for x in at)
    return np.array([coefficient(mesh, magnets, 3e7) for mesh in meshes]) / endless


@pytest.mark.parametrize("length", [0.01, 0.02, 0.05])
def test_short_parts_brake_along_the_path_as_finite_volumes_say(length):
    at, share = running_in(BLOCK, SLAT, length)
    some = np.linspace(0, at.size - 1, 8).astype(int)
    assert_allclose(share[some], volumes(length, at[some], row(SIZE, 0.003)), rtol=0.04, atol=0.015)


@pytest.mark.long
def test_braking_impulse_of_short_parts_is_that_of_finite_volumes():
    for length in (0.01, 0.02):
        at, share = running_in(BLOCK, SLAT, length)
        found = volumes(length, at, row(SIZE, 0.003))
        assert_allclose(np.trapezoid(share, at), np.trapezoid(found, at), rtol=0.05)


@pytest.mark.parametrize(("times", "share"), [(3, 0.85), (8, 0.95)])
def test_braking_impulse_over_the_linear_ramp_is_that_of_independent_models(times, share):
    # derived values: part three and eight times as long as the magnet; the linear ramp's impulse is b times L
    length = times * 0.02
    at, found = running_in(BLOCK, SLAT, length)
    middle = (0.02 + length) / 2
    impulse = 2 * (np.trapezoid(found, at) + found[-1] * (middle - at[-1]))
    assert_allclose(impulse / length, share, rtol=0.02)


def test_long_part_gets_the_whole_drag_and_a_short_one_never():
    assert_allclose(profile(BLOCK, SLAT, 0.3).share[-1], 1.0, atol=0.01)
    # derived values: half as long as the magnet, and as long
    for length, most in ((0.01, 0.16), (0.02, 0.44)):
        assert_allclose(profile(BLOCK, SLAT, length).largest, most, atol=0.01)


@pytest.mark.parametrize("bar", [SLAT, Bar(0.02, 0.02), Bar(0.02, 0.02, 0.002), Bar(0.02, 0.02, 0.003, True)])
def test_modes_of_a_section_draw_the_power_that_its_equations_give(bar):
    section = Section(mesh_of(bar, BLOCK, 0.8))
    drive = np.random.default_rng(1).standard_normal((section.mesh.faces.area.size, 3))
    for k in (1.0, 30.0, 900.0):
        assert_allclose(section.slow_by_modes(drive, k), section.slow(drive, k), rtol=1e-10)


def test_cosine_transform_is_that_of_an_independent_library():
    values = np.random.default_rng(2).standard_normal((48, 3))
    for number in (1, 2, 3, 4, 47, 48):
        expected = dct(values[:number], type=2, axis=0, norm="ortho")
        assert_allclose(cosines(values[:number]), expected, rtol=0, atol=1e-14)


def test_least_squares_are_those_of_40_digits_where_points_weigh_very_unlike():
    draw = np.random.default_rng(4)
    rows = draw.standard_normal((40, 9)) * 10.0 ** draw.uniform(-6, 0, (40, 1))
    with workdps(40):
        points = matrix(rows[:, :-1].tolist())
        exact = lu_solve(points.T * points, points.T * matrix(rows[:, -1].tolist()))
    assert_allclose(least_squares(rows), np.array(exact.tolist(), float).ravel(), rtol=1e-11)


def test_least_squares_take_the_shortest_solution_where_points_do_not_tell():
    rows = np.array([[1.0, 1.0, 2.0], [2.0, 2.0, 4.0], [3.0, 3.0, 6.0]])  # derived: x + y = 2
    assert_allclose(least_squares(rows), [1.0, 1.0], rtol=1e-14)
    assert_allclose(least_squares(rows[:1]), [1.0, 1.0], rtol=1e-14)


def test_row_builds_up_magnet_by_magnet():
    blocks = Blocks(*SIZE, gap=0.003, count=4, pitch=0.025)
    at, share = running_in(blocks, SLAT, 0.3)
    assert share[-1] == pytest.approx(1.0, abs=0.01)
    x = blocks.extent / 2
    found = volumes(0.12, [x, 0.11], row(SIZE, 0.003, count=4, pitch=0.025))
    assert_allclose(np.interp(x, at, share), found[0] / found[1], atol=0.02)


def test_pieces_keep_to_the_profile_and_are_few_and_smooth():
    for blocks, length in ((BLOCK, 0.3), (BLOCK, 0.015), (Blocks(*SIZE, 0.003, 5, 0.025), 0.3)):
        at, share = running_in(blocks, SLAT, length)
        kept = smooth(at, share)
        assert_allclose(kept.over(at), share, atol=TOLERANCE * share.max())
        assert len(kept.powers) < 3 + blocks.count
        fine = np.linspace(at[0], at[-1], 5000)
        value = kept.over(fine)
        assert value.min() >= 0.0
        # differences over a thousandth of a piece: neither value nor slope jumps, as they would at a kink
        step = (kept.at[1] - kept.at[0]) / 1000
        slope = (kept.over(fine + step) - kept.over(fine - step)) / (2 * step)
        bend = np.abs(kept.over(fine + step) - 2 * value + kept.over(fine - step)) / step
        assert bend.max() < 0.02 * np.abs(slope).max()


def test_pieces_may_be_asked_for_anywhere():
    at, share = running_in(BLOCK, SLAT, 0.3)
    kept = smooth(at, share)
    far = kept.over(np.array([-1.0, kept.at[0], kept.at[-1], 7.0, np.nan]))
    assert_allclose(far[:4], [0.0, 0.0, kept.share[-1], kept.share[-1]], atol=1e-15)
    assert np.isnan(far[4])
    # in one piece or in several, the same bits
    some = np.linspace(kept.at[0], kept.at[-1], 40)
    assert (kept.over(some) == [kept.over(x[None])[0] for x in some]).all()


def test_magnet_is_braked_by_the_part_of_the_tube_around_it():
    # by the trapezoidal rule over B_r^2 r dr dz from the tube's end on, 3 mm behind the magnet's centre
    tube = Tube(0.006, 0.010, 0.0065, 0.0075)
    r, z = np.linspace(0.0065, 0.0075, 60), np.linspace(-0.08, 0.08, 4001)
    ring = np.trapezoid(radial_field(1.0, 0.006, 0.010, r, z[:, None]) ** 2 * r, r, axis=1)
    beyond = z >= -0.003
    assert_allclose(tube_cover(tube, np.array([0.003]))[0], ring[beyond].sum() / ring.sum(), atol=2e-3)
    assert_allclose(tube_cover(tube, np.array([-0.06, 0.0, 0.06])), [0.0, 0.5, 1.0], atol=2e-3)


def test_part_that_covers_some_magnets_of_a_long_row_brakes_as_finite_volumes_say():
    # 60 mm of slat under a row of six: never all of them, and more or less as poles come and go
    blocks = Blocks(*SIZE, gap=0.003, count=6, pitch=0.025)
    at, share = running_in(blocks, SLAT, 0.06)
    magnets = row(SIZE, 0.003, count=6, pitch=0.025)
    some = [at.size - 1 - i for i in (0, 4, 8, 12)]
    found = volumes(0.06, at[some], magnets) * drag(BLOCK, SLAT).coefficient / drag(blocks, SLAT).coefficient
    assert_allclose(share[some], found, rtol=0.05)
