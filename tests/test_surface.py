"""A surface answers for the motion of a long study: within what it promises, whatever the company.

The truth is scipy's DOP853 (tolerance 1e-13) on the equation of motion written down here, from kink to kink.
All rigs are invented.
"""

import pickle
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gatesim.chain.pipeline import motion_query
from gatesim.chain.reference import AS_USUAL
from gatesim.chain.sidebyside import Question
from gatesim.chain.surface.cells import PROBES, decay_of, probes
from gatesim.chain.surface.terms import Terms, even_points, term_count
from gatesim.ground.draw import Streams
from gatesim.ground.outcome import Outcome
from gatesim.motion import passage
from gatesim.scenario import parse_text
from gatesim.studies.engine import study
from gatesim.studies.model import sample
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel

BRAKED = """
title = "invented profile, strongly braked"
[part]
length = { value = "260 mm", distribution = "normal", standard_uncertainty = "0.2 mm", per = "part" }
mass = "105 g"
height = "20 mm"
[path]
slope = { value = "30 deg", distribution = "rectangular", half_width = "0.3 deg" }
friction = { value = 0.22, distribution = "normal", standard_uncertainty = 0.01 }
[brake]
start = "300 mm"
length = "200 mm"
peak_force = { value = "80 N", distribution = "rectangular", half_width = "8 N" }
critical_speed = "26.5 m/s"
[gate]
first = { value = "800 mm", distribution = "rectangular", half_width = "2 mm" }
spacing = { value = "100 mm", distribution = "normal", standard_uncertainty = "0.1 mm" }
[sensor]
jitter = "20 us"
[counter]
frequency = "100 kHz"
"""
LAUNCHED = """
title = "invented spacer, launched"
[part]
length = "60 mm"
mass = "20 g"
height = "10 mm"
[path]
slope = "0 deg"
friction = { value = 0.18, distribution = "normal", standard_uncertainty = 0.01 }
[launch]
stiffness = { value = "160 N/m", distribution = "normal", standard_uncertainty = "2 N/m" }
stretch = { value = "50 mm", distribution = "rectangular", half_width = "1 mm" }
[gate]
first = "140 mm"
spacing = { value = "60 mm", distribution = "normal", standard_uncertainty = "0.03 mm" }
[counter]
frequency = "1 MHz"
"""
PROMISED = 1e-9
TRIALS = 10_000_000


@cache
def prepared(text, trials=TRIALS):
    return RigModel(parse_text(text)).prepared(trials, AS_USUAL)


def asked(rig, n, seed=3):
    """Part, path, forces and positions of n trials as they are drawn."""
    draw = Streams(seed, 0, n)
    query = motion_query(rig.scenario, draw, sample(rig, draw), ends=False)
    return query.rig.part, query.rig.path, query.rig.forces, query.positions


def crossings(part, path, brake, positions, i):
    """Times at the positions of trial i, by DOP853 over the position."""
    length, slope, friction, peak = (
        float(np.broadcast_to(value, (len(positions),))[i])
        for value in (part.length, path.slope, path.friction, brake.peak_force)
    )
    start, end, critical, mass = brake.start, brake.start + brake.length, brake.critical_speed, part.mass
    drive = 9.80665 * (np.sin(slope) - friction * np.cos(slope))

    def motion(x, y):
        cover = max(min(x, end) - max(x - length, start), 0.0) / brake.length
        ratio = y[1] / critical
        return 1.0 / y[1], (drive - peak / mass * cover * 2.0 * ratio / (1.0 + ratio * ratio)) / y[1]

    kinks = [start, end, start + length, end + length]
    wanted = positions[i]
    stops = sorted({*(k for k in kinks if k > start), *wanted.tolist()})
    x, y = start, np.array([np.sqrt(2.0 * start / drive), np.sqrt(2.0 * drive * start)])
    found = {}
    for stop in stops:
        y = solve_ivp(motion, (x, stop), y, method="DOP853", rtol=1e-13, atol=1e-15).y[:, -1]
        x, found[stop] = stop, y[0]
    return np.array([found[at] for at in wanted.tolist()])


def test_times_are_within_what_is_promised_of_an_independent_solution():
    rig = prepared(BRAKED)
    part, path, (brake,), positions = asked(rig, 6)
    told = rig.surface(part, path, (brake,), positions)
    assert np.isnan(told.node_time).size == 0  # answered by the surface, which has no nodes
    for i in range(6):
        true = crossings(part, path, brake, positions, i)
        assert np.abs(told.time[i] - true).max() <= PROMISED * np.ptp(true)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(3))
def test_no_trial_of_many_random_rigs_is_further_off_than_promised(seed):
    """Strength, spreads, slope and length at random: wherever there is a surface, it keeps its promise."""
    rng, seen = np.random.default_rng(seed), 0
    for _ in range(5):
        text = BRAKED.replace('"80 N"', f'"{rng.uniform(30.0, 400.0):.1f} N"')
        text = text.replace('"8 N"', f'"{rng.uniform(0.5, 3.0):.2f} N"')
        text = text.replace('"30 deg"', f'"{rng.uniform(25.0, 60.0):.1f} deg"')
        text = text.replace("uncertainty = 0.01", f"uncertainty = {rng.uniform(0.001, 0.02):.4f}")
        text = text.replace('"260 mm"', f'"{rng.uniform(210.0, 290.0):.1f} mm"')
        rig = prepared(text)
        if rig.surface is None:
            continue
        seen += 1
        part, path, forces, positions = asked(rig, 4000, seed)
        told, true = rig.surface(part, path, forces, positions), passage(part, path, forces, positions)
        off = np.abs(told.time - true.time).max(axis=1)
        allowed = np.maximum(PROMISED * np.ptp(true.time, axis=1), 2e-11 * true.time.max(axis=1))
        assert (off <= 2.0 * allowed).all()  # allowed is told by the middle trial's times
        assert np.mean(off <= allowed) > 0.99
        assert (told.outcome == true.outcome).all()
        for i in rng.integers(4000, size=3):
            exact = crossings(part, path, forces[0], positions, int(i))
            assert np.abs(told.time[i] - exact).max() <= 2.0 * allowed[i]
    assert seen >= 1


def test_a_launched_part_is_answered_too_where_slope_and_friction_cannot_be_merged():
    rig = prepared(
        LAUNCHED.replace(
            '"0 deg"', '{ value = "3 deg", distribution = "rectangular", half_width = "0.2 deg" }'
        )
    )
    part, path, forces, positions = asked(rig, 500)
    told, true = rig.surface(part, path, forces, positions), passage(part, path, forces, positions)
    assert told.node_time.size == 0
    assert np.abs(told.time - true.time).max() <= PROMISED * np.ptp(true.time, axis=1).min()


def test_a_trial_does_not_depend_on_its_company():
    rig = prepared(BRAKED)
    everything = asked(rig, 5000)
    whole = rig.surface(*everything)
    for rows in (np.array([17]), np.arange(100, 90, -1), np.arange(0, 5000, 7)):
        one = Question(*everything).of(rows)
        some = rig.surface(one.part, one.path, one.forces, one.positions)
        assert some.time.tobytes() == whole.time[rows].tobytes()


def test_trials_beyond_its_ranges_are_left_to_the_equation_of_motion():
    rig = prepared(BRAKED)
    part, path, (brake,), positions = asked(rig, 40)
    peak = np.array(brake.peak_force)
    peak[::4] *= 1.3
    brake = replace(brake, peak_force=peak)
    told, true = rig.surface(part, path, (brake,), positions), passage(part, path, (brake,), positions)
    assert told.time[::4].tobytes() == true.time[::4].tobytes()
    assert told.speed[::4].tobytes() == true.speed[::4].tobytes()
    assert np.isnan(told.speed[1]).all()  # speeds are not asked of this rig
    assert np.allclose(told.time, true.time, rtol=1e-10)


def test_another_brake_or_other_gates_are_not_answered_for():
    rig = prepared(BRAKED)
    part, path, (brake,), positions = asked(rig, 8)
    for forces, at in (
        ((brake, brake), positions),
        ((brake,), positions[:, :3]),
        ((replace(brake, start=0.31),), positions),
    ):
        assert (
            rig.surface(part, path, forces, at).time.tobytes()
            == passage(part, path, forces, at).time.tobytes()
        )


@pytest.mark.long
def test_speeds_are_told_where_the_receiver_needs_them():
    rig = prepared(BRAKED.replace("[sensor]", '[sensor]\ntime_constant = "10 us"'))
    part, path, forces, positions = asked(rig, 500)
    told, true = rig.surface(part, path, forces, positions), passage(part, path, forces, positions)
    assert np.abs(told.speed / true.speed - 1.0).max() <= 1e-8


def test_parts_that_stop_on_the_way_stay_what_they_are():
    """Friction up to beyond what the slope overcomes: some stop, and all are told as without a surface."""
    text = BRAKED.replace("value = 0.22", "value = 0.5").replace("uncertainty = 0.01", "uncertainty = 0.04")
    rig = prepared(text)
    everything = asked(rig, 2000)
    told = everything if rig.surface is None else rig.surface(*everything)
    true = passage(*everything)
    assert (true.outcome != Outcome.MEASURED).any()
    if rig.surface is not None:
        assert (told.outcome == true.outcome).all()


WITHOUT_BRAKE = BRAKED[: BRAKED.index("[brake]")] + BRAKED[BRAKED.index("[gate]") :]
IN_AIR = '[air]\ndrag_coefficient = { value = 1.1, distribution = "normal", standard_uncertainty = 0.1 }\n'


@pytest.mark.parametrize("more", ["", IN_AIR + 'frontal_area = "30 cm^2"\n'], ids=["no force", "closed form"])
def test_a_motion_that_is_cheap_by_itself_is_left_alone(more):
    assert prepared(WITHOUT_BRAKE + more).surface is None


def test_a_short_study_is_left_alone():
    assert prepared(BRAKED, 10_000).surface is None


@pytest.mark.long
def test_a_study_says_the_same_with_a_surface_and_without():
    plan = Plan(trials=20_000)
    bare, fitted = RigModel(parse_text(BRAKED)), prepared(BRAKED)
    without = study(replace(bare, move=passage), plan, workers=1)  # a move of its own is kept
    with_it = study(fitted, plan, workers=1)
    assert without.outcomes == with_it.outcomes
    for name, one in without.formulas.items():
        for figure in ("bias", "uncertainty"):
            assert getattr(one, figure).value == pytest.approx(
                getattr(with_it.formulas[name], figure).value, abs=1e-9
            )


@pytest.mark.long
def test_workers_and_pieces_change_no_bit_of_a_study_on_a_surface():
    rig = RigModel(parse_text(BRAKED))
    plan = Plan(trials=60_000)
    one, two = (study(rig, plan, workers=workers) for workers in (1, 2))
    assert pickle.dumps(one) == pickle.dumps(two)
    again = pickle.loads(pickle.dumps(prepared(BRAKED)))
    everything = asked(rig, 1000)
    assert again.surface(*everything).time.tobytes() == prepared(BRAKED).surface(*everything).time.tobytes()


def test_a_polynomial_is_fitted_exactly():
    """A product of powers that are among the terms comes out to rounding, anywhere on the cell."""
    terms = Terms((6.0, 4.0, 3.0))
    assert term_count(terms.degrees) == len(terms.every)
    x, y, z = terms.points.T
    values = np.array([1.0 + x**2 * y - 0.5 * z + x * y * z, 3.0 * z**3 - x**6])
    coefficients = [own[0] for own in terms.fitted(values.T[None])]
    x, y, z = even_points(3, 200).T
    told = terms.values(coefficients, np.array([x, y]), np.array([z, z]))
    true = [1.0 + x**2 * y - 0.5 * z + x * y * z, 3.0 * z**3 - x**6]
    assert np.abs(told - true).max() < 1e-13


@pytest.mark.parametrize("pole", [1.2, 1.6, 3.0])
def test_the_decay_of_coefficients_is_that_of_a_pole(pole):
    """Chebyshev coefficients of 1/(a - x) fall by a + sqrt(a^2 - 1) a degree (Mason and Handscomb, Chebyshev
    Polynomials, 2003, section 5.2; from memory)."""
    tolerance = 1e-6
    found = decay_of((1.0 / (pole - probes()))[:, None], tolerance)
    rho = pole + np.sqrt(pole**2 - 1.0)
    degree = np.log(2.0 / np.sqrt(pole**2 - 1.0) / tolerance) / np.log(rho)
    assert found.degree == pytest.approx(degree, abs=1.0) or found.degree == PROBES - 1
    halved = decay_of(
        (1.0 / (2.0 * pole - 1.0 - probes()))[:, None] * 2.0, tolerance
    )  # the half next to the pole
    assert found.degree_in(2, tolerance) == pytest.approx(halved.degree, rel=0.25)
