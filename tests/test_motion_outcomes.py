"""What becomes of a part that does not simply pass, and where it is at any time."""

import numpy as np
import pytest
from numpy.testing import assert_allclose

from gatesim.ground.outcome import Outcome
from gatesim.motion import AirDrag, Belt, EddyBrake, Launch, Path, passage
from tests.motion_rigs import Block

G = 9.80665


def test_friction_holds_a_part_at_rest():
    p = passage(Block(), Path(0.2, 0.3), (), [0.1])
    assert p.outcome[0] == Outcome.STOPPED
    assert p.stop_position[0] == 0
    assert np.isnan(p.time).all()


def test_part_without_any_force_stays_where_it_is():
    assert passage(Block(), Path(0.0), (), [0.1]).outcome[0] == Outcome.STOPPED


def test_part_stops_where_friction_has_used_up_its_energy():
    p = passage(Block(), Path(0.1, 0.3, release_speed=1.0), (), [0.1, 1.0])
    a = G * (0.3 * np.cos(0.1) - np.sin(0.1))
    assert p.outcome[0] == Outcome.STOPPED
    assert_allclose(p.stop_position, 1 / (2 * a), rtol=1e-12)
    assert_allclose(p.stop_time, 1 / a, rtol=1e-12)
    assert np.isfinite(p.time[0, 0])
    assert np.isnan(p.time[0, 1])


@pytest.mark.parametrize(("friction", "outcome"), [(0.1, Outcome.RAN_BACK), (0.5, Outcome.STOPPED)])
def test_uphill_launch_runs_back_unless_friction_holds_it(friction, outcome):
    p = passage(Block(), Path(-0.3, friction, release_speed=1.0), (), [1.0])
    assert p.outcome[0] == outcome
    assert_allclose(p.stop_position, 0.5 / (G * (np.sin(0.3) + friction * np.cos(0.3))), rtol=1e-12)


def test_weak_spring_leaves_the_part_where_an_oscillation_with_friction_turns():
    # turning point of x = d (1 - cos w t) is 2 d, d = stretch - mu m g/k
    k, s, m, mu = 20.0, 0.1, 0.4, 0.3
    p = passage(Block(mass=m), Path(0.0, mu), (Launch(k, s), AirDrag(0.0, 0.01)), [0.5])
    assert_allclose(p.stop_position, 2 * (s - mu * m * G / k), rtol=1e-8)
    assert p.outcome[0] == Outcome.STOPPED


def test_linear_brake_on_the_level_stops_after_m_v_over_b():
    brake = EddyBrake.from_coefficient(-10.0, 20.0, 2 * 0.5, 1.0, linear=True)
    p = passage(Block(length=10.0, mass=0.1), Path(0.0, release_speed=2.0), (brake,), [0.3, 1.0])
    assert_allclose(p.stop_position, 0.1 * 2.0 / 0.5, rtol=1e-8)
    assert_allclose(p.time[0, 0], -0.2 * np.log(1 - 0.3 / 0.4), rtol=1e-9)


def test_brake_that_is_too_weak_lets_a_fast_part_run_away():
    brake = EddyBrake(0.5, 0.1, 0.2, 0.3)
    p = passage(Block(), Path(1.0), (brake,), [0.4, 1.0])
    assert p.outcome[0] == Outcome.RUNAWAY
    assert p.brake_ratio[0] > 1
    assert p.brake_acceleration[0] > 0
    tame = passage(Block(), Path(1.0), (EddyBrake(0.5, 0.1, 3.0, 5.0),), [0.4, 1.0])
    assert tame.outcome[0] == Outcome.MEASURED
    assert tame.brake_ratio[0] < 1


def test_part_runs_away_from_the_crest_of_the_drag_curve_on_and_only_if_it_still_gains_speed():
    # the full drag curve has its crest at the critical speed: below it more speed means more drag
    critical = 2.0
    path = Path(0.3, release_speed=critical * np.array([0.5, 0.8, 0.94, 0.99, 1.2]))
    weak = passage(Block(), path, (EddyBrake(0.0, 0.05, 0.05, critical),), [0.06])
    assert np.all(weak.brake_acceleration > 0)
    assert 0.95 < weak.brake_ratio[2] < 1.0 < weak.brake_ratio[3] < 1.05
    assert list(weak.outcome == Outcome.RUNAWAY) == [False, False, False, True, True]
    # one strong enough to slow the part down holds it on either side of the crest
    path = Path(0.3, release_speed=critical * np.array([1.2, 1.5]))
    strong = passage(Block(), path, (EddyBrake(0.0, 0.05, 1.0, critical),), [0.06])
    assert strong.brake_ratio[1] > 1.0
    assert np.all(strong.brake_acceleration < 0)
    assert np.all(strong.outcome == Outcome.MEASURED)


def test_nan_in_one_trial_stays_there():
    p = passage(Block(), Path(np.array([0.5, np.nan, 0.6]), 0.1), (AirDrag(1.0, 0.01),), [0.2])
    assert np.isnan(p.time[1, 0])
    assert np.isfinite(p.time[[0, 2], 0]).all()


def test_arrays_of_different_length_are_refused():
    with pytest.raises(ValueError, match="different length"):
        passage(Block(mass=np.ones(3)), Path(np.ones(2)), (), [0.1])


def test_travel_at_returns_the_positions_of_the_crossings():
    x = [0.1, 0.3, 0.62, 0.8]
    for forces in (
        (),
        (EddyBrake(0.25, 0.4, 0.9, 2.0),),
        (Belt(1.2, 0.4, ripple=0.02, ripple_frequency=7.0),),
    ):
        p = passage(Block(), Path(0.5, 0.1), forces, x)
        assert_allclose(p.travel_at(p.time)[0], x, rtol=1e-12)


def test_travel_at_is_exact_under_constant_acceleration_and_before_and_after():
    p = passage(Block(), Path(0.0, 0.2, release_speed=1.0), (), [0.1, 0.2, 5.0])
    a, t = 0.2 * G, np.array([[-1.0, 0.0, 0.07, 0.3, 0.5, 0.6, 9.0]])
    inside = np.clip(t, 0, 1 / a)
    assert_allclose(p.travel_at(t), inside - a * inside**2 / 2, rtol=1e-12, atol=1e-15)
    gone = passage(Block(), Path(1.0), (), [0.5])
    assert np.isnan(gone.travel_at(gone.time + 1e-3)).all()


def test_travel_at_follows_a_braked_part_closely():
    """Cubic between the nodes: compared with crossings asked for one by one, within 0.1 mm."""
    part, path, brake = Block(), Path(0.6, 0.2), EddyBrake(0.25, 0.4, 0.9, 2.0)
    fine = np.linspace(0.01, 0.8, 200)
    exact = passage(part, path, (brake,), fine)
    coarse = passage(part, path, (brake,), [0.7, 0.8])
    assert (
        np.abs(coarse.travel_at(exact.time)[0] - fine)[:-1].max() < 1e-4
    )  # the last may lie a rounding past the end
