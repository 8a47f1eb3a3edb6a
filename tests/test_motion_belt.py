"""Belts: slip, catch, carry; against closed forms and independent root finding."""

import numpy as np
import pytest
from mpmath import mp
from numpy.testing import assert_allclose, assert_array_equal
from scipy.integrate import quad
from scipy.optimize import brentq

from gatesim.ground.arrays import take
from gatesim.ground.outcome import Outcome
from gatesim.motion import AirDrag, Belt, Path, passage
from tests.motion_rigs import Block

G = 9.80665
RIPPLED = Belt(1.0, 0.3, start_speed=0.2, ramp=0.4, ripple=0.03, ripple_frequency=5.0, ripple_phase=0.7)


def test_part_placed_at_rest_slips_then_rides():
    # slip: x = mu g t^2/2 until V = mu g t, then V (derived)
    p = passage(Block(), Path(0.0), (Belt(1.0, 0.3),), [0.05, 0.1, 0.4, 2.0])
    a = 0.3 * G
    caught, t = 0.5 / a, 1 / a
    assert_allclose(p.caught_position, caught, rtol=1e-12)
    assert_allclose(p.caught_time, t, rtol=1e-12)
    assert_allclose(
        p.time[0], [(0.1 / a) ** 0.5, (0.2 / a) ** 0.5, t + 0.4 - caught, t + 2 - caught], rtol=1e-12
    )
    assert p.outcome[0] == Outcome.MEASURED


def test_fast_part_is_slowed_down_to_the_belt():
    p = passage(Block(), Path(0.0, release_speed=2.0), (Belt(1.0, 0.3),), [0.1, 1.0])
    a = 0.3 * G
    caught = (4 - 1) / (2 * a)
    assert_allclose(p.caught_position, caught, rtol=1e-12)
    assert_allclose(p.time[0, 1], 1 / a + 1.0 - caught, rtol=1e-12)


def test_a_belt_that_runs_up_is_met_when_a_search_says_so():
    """Parts slower and faster than a belt that runs up from anywhere, against brentq on the gap of speeds."""
    rng = np.random.default_rng(5)
    n = 300
    speed, begin, ramp = rng.uniform(0.3, 1.5, n), rng.uniform(0.1, 1.5, n), rng.uniform(0.02, 1.0, n)
    mu, slope, v = rng.uniform(0.15, 0.6, n), rng.uniform(-0.05, 0.1, n), rng.uniform(0.05, 2.5, n)
    belt = Belt(speed, mu, start_speed=begin, ramp=ramp)
    p = passage(Block(), Path(slope, release_speed=v), (belt,), [0.05, 0.2, 3.0])
    met = 0
    for i in np.flatnonzero(np.isfinite(p.caught_time) & (p.caught_time > 0)):
        sign = np.sign(begin[i] - v[i])
        a = G * (np.sin(slope[i]) + sign * mu[i] * np.cos(slope[i]))
        one = take(belt, np.array([i]))

        def gap(t, i=i, sign=sign, a=a, one=one):
            return sign * (one.velocity(np.atleast_1d(t)[:, None])[:, 0] - v[i] - a * t)

        looked = np.linspace(0.0, 4.0, 4001)
        first = looked[gap(looked) <= 0].min()
        exact = brentq(lambda t, gap=gap: gap(t)[0], max(first - 1e-3, 0.0), first, xtol=1e-15)
        if p.grip[i] <= 1 and exact == pytest.approx(p.caught_time[i], rel=1e-2):  # else it slipped on there
            assert p.caught_time[i] == pytest.approx(exact, abs=1e-13)
            assert p.caught_position[i] == pytest.approx(exact * (v[i] + 0.5 * a * exact), abs=1e-13)
            met += 1
    assert met > 200


def test_uphill_belt_pulls_with_friction_less_weight():
    p = passage(Block(), Path(-0.1), (Belt(0.5, 0.4),), [0.01, 1.0])
    a = G * (0.4 * np.cos(0.1) - np.sin(0.1))
    assert_allclose(p.caught_position, 0.25 / (2 * a), rtol=1e-12)


def test_belt_after_a_chute_takes_the_part_over_in_proportion_to_what_lies_on_it():
    # force linear in travel while a part of 0.17 m comes on: v^2 grows by twice its integral over the mass
    p = passage(Block(), Path(0.3, 0.1), (Belt(2.5, 0.5, start=0.4),), [0.4, 0.5, 0.57, 3.0])
    before = G * (np.sin(0.3) - 0.1 * np.cos(0.3))
    on = G * (np.sin(0.3) + 0.5 * np.cos(0.3))

    def square(way):
        return 2 * before * (0.4 + way) + (on - before) * way**2 / 0.17

    assert_allclose(p.speed[0, :3], np.sqrt([square(0.0), square(0.1), square(0.17)]), rtol=1e-11)
    assert_allclose(p.caught_position, 0.57 + (2.5**2 - square(0.17)) / (2 * on), rtol=1e-10)


def test_belt_slows_a_part_down_and_carries_it_before_all_of_it_has_come_on():
    # on the level, friction 0.05 on the path, 0.6 on the belt, whose 0.8 m/s are reached at way d:
    # 1.2^2 - 2 G (0.05 (0.3 + d) + 0.55 d^2/(2 L)) = 0.8^2; there 0.6 d/L is more than 0.05 (1 - d/L)
    L = 0.17
    p = passage(Block(), Path(0.0, 0.05, release_speed=1.2), (Belt(0.8, 0.6, start=0.3),), [0.3, 1.0])
    rest = 1.2**2 - 0.8**2 - 2 * G * 0.05 * 0.3
    d = (np.sqrt(0.05**2 + 0.55 / L * rest / G) - 0.05) * L / 0.55
    assert 0.05 / 0.65 < d / L < 1
    assert_allclose(p.caught_position, 0.3 + d, rtol=1e-9)
    assert_allclose(p.speed[0, 1], 0.8, rtol=1e-12)
    assert_allclose(p.time[0, 1], p.caught_time[0] + (0.7 - d) / 0.8, rtol=1e-11)


def test_part_too_little_of_which_lies_on_the_belt_is_not_carried_yet():
    # the path holds it back with more than its tip on the belt can give: it goes on slower than the belt
    p = passage(Block(), Path(0.0, 0.5, release_speed=1.0), (Belt(0.9, 0.55, start=0.01),), [0.02, 1.0])
    assert p.speed[0, 0] < 0.9
    assert p.caught_position[0] > 0.01 + 0.17 * 0.5 / 1.05
    assert_allclose(p.speed[0, 1], 0.9, rtol=1e-12)


def test_part_that_is_put_on_the_belt_lies_on_it_wholly():
    p = passage(Block(), Path(0.0, 0.3), (Belt(1.0, 0.4, start=0.0),), [0.05])
    assert_allclose(p.speed[0, 0], np.sqrt(2 * 0.4 * G * 0.05), rtol=1e-12)


@pytest.mark.parametrize("t", [0.0, 0.1, 0.4, 0.75, 3.1])
def test_belt_travel_is_the_integral_of_its_speed(t):
    whole = quad(lambda s: float(RIPPLED.velocity(np.array(s))), 0, t, epsabs=1e-13, limit=400, points=[0.4])[
        0
    ]
    assert_allclose(RIPPLED.travel(np.array([t])), whole, rtol=1e-9, atol=1e-12)


def test_belt_acceleration_is_the_derivative_of_its_speed():
    t, h = np.array([0.1, 0.3, 0.9]), 1e-6
    slope = (RIPPLED.velocity(t + h) - RIPPLED.velocity(t - h)) / (2 * h)
    assert_allclose(RIPPLED.acceleration(t), slope, rtol=1e-8)
    least, most = RIPPLED.steepest(np.array([0.0]))
    times = np.linspace(0, 2, 4001)
    swing = RIPPLED.acceleration(times)
    assert least[0] <= swing.min()
    assert swing.max() <= most[0] <= swing.max() + 0.5 * (most[0] - least[0])


def test_rippled_belt_is_caught_and_ridden_exactly():
    a = 0.3 * G
    p = passage(Block(), Path(0.0, release_speed=0.1), (RIPPLED,), [0.02, 0.5, 1.3])

    def gap(t):
        return float(RIPPLED.velocity(np.array(t))) - (0.1 + a * t)

    first = next(t for t in np.arange(1e-4, 2, 1e-4) if gap(t) <= 0)
    since = brentq(gap, first - 1e-4, first, xtol=1e-15)
    caught = 0.1 * since + a * since**2 / 2
    assert_allclose(p.caught_time, since, rtol=1e-9)
    assert_allclose(p.caught_position, caught, rtol=1e-9)
    begun = float(RIPPLED.travel(np.array(since)))
    for x, time in zip([0.5, 1.3], p.time[0, 1:], strict=True):
        riding = brentq(
            lambda t, x=x: float(RIPPLED.travel(np.array(t))) - begun + caught - x, since, 5, xtol=1e-14
        )
        assert_allclose(time, riding, rtol=1e-9)
    assert_allclose(p.speed[0, 1:], RIPPLED.velocity(p.time[0, 1:]), rtol=1e-12)


def test_belt_that_starts_gently_carries_from_rest_and_one_that_starts_hard_slips():
    gentle = passage(Block(), Path(0.0), (Belt(1.0, 0.3, ramp=1.0),), [0.25, 1.0])
    assert_allclose(gentle.caught_position, 0.0)
    assert_allclose(gentle.time[0], [np.sqrt(0.5), 1.5], rtol=1e-12)
    assert_allclose(gentle.grip, 1 / (0.3 * G), rtol=1e-12)
    hard = passage(Block(), Path(0.0), (Belt(1.0, 0.3, ramp=0.1),), [0.25, 1.0])
    assert_allclose(hard.caught_time, 1 / (0.3 * G), rtol=1e-9)


def test_part_not_caught_before_the_last_position_slips():
    p = passage(Block(), Path(0.0), (Belt(3.0, 0.1),), [0.1, 0.5])
    assert p.outcome[0] == Outcome.SLIPPING
    assert np.isnan(p.caught_position[0])
    assert_allclose(p.time[0], np.sqrt(2 * np.array([0.1, 0.5]) / (0.1 * G)), rtol=1e-12)


def test_ripple_beyond_the_grip_is_reported():
    p = passage(Block(), Path(0.0), (Belt(1.0, 0.2, ripple=0.1, ripple_frequency=10.0),), [0.1, 1.0])
    assert_allclose(p.grip, 0.1 * 2 * np.pi * 10 / (0.2 * G), rtol=1e-12)
    assert p.outcome[0] == Outcome.SLIPPING


def test_too_steep_a_belt_lets_the_part_run_back():
    p = passage(Block(), Path(-0.5), (Belt(1.0, 0.3),), [0.1])
    assert p.outcome[0] == Outcome.RAN_BACK
    assert p.stop_position[0] == 0


@pytest.mark.long
def test_trial_on_a_belt_does_not_depend_on_its_company():
    n = 40
    rng = np.random.default_rng(2)
    belt = Belt(
        rng.uniform(0.3, 2, n), rng.uniform(0.1, 0.6, n), start=rng.uniform(0, 0.2, n),
        ripple=rng.uniform(0, 0.05, n), ripple_frequency=rng.uniform(1, 9, n),
        ripple_phase=rng.uniform(0, 6, n),
    )  # fmt: skip
    path = Path(rng.uniform(0.1, 0.3, n), 0.05)
    forces = (belt, AirDrag(1.0, 0.01))
    everything = passage(Block(), path, forces, [0.3, 0.6, 1.4])
    for i in range(0, n, 7):
        rows = np.array([i])
        alone = passage(Block(), take(path, rows), tuple(take(f, rows) for f in forces), [0.3, 0.6, 1.4])
        for name in ("time", "speed", "caught_position", "grip", "outcome"):
            assert np.array_equal(getattr(alone, name)[0], getattr(everything, name)[i], equal_nan=True), name


def test_two_belts_are_refused():
    with pytest.raises(ValueError, match="2 belts"):
        passage(Block(), Path(0.0), (Belt(1.0, 0.3), Belt(1.0, 0.3)), [0.1])


def carried(speed, ripple, frequency, phase, positions, guesses):
    """When the belt catches a part from rest, and when it is at positions, near guesses; to 30 digits."""
    with mp.workdps(30):
        speed, r, p, a = (mp.mpf(float(v)) for v in (speed, ripple, phase, 0.4 * G))
        w = mp.mpf(float(2 * np.pi * frequency))

        def travel(t):
            return speed * t - speed * r / w * mp.cos(w * t + p)

        caught = mp.findroot(lambda t: speed * (1 + r * mp.sin(w * t + p)) - a * t, guesses[0])
        begun = travel(caught) - a * caught**2 / 2
        found = [
            mp.findroot(lambda t, x=x: travel(t) - begun - mp.mpf(x), guess)
            for x, guess in zip(positions, guesses[1:], strict=True)
        ]
        return [float(t) for t in (caught, *found)]


@pytest.mark.parametrize("ripple", [0.006, -0.07, 0.0699, 0.0701, 0.3])
def test_catch_and_carriage_on_a_rippled_belt_are_those_of_30_digits(ripple):
    rng, n = np.random.default_rng(4), 7
    speed, frequency, phase = rng.uniform(0.3, 2.0, n), 10 ** rng.uniform(-2, 2, n), rng.uniform(-200, 200, n)
    belt = Belt(speed, 0.4, ripple=ripple, ripple_frequency=frequency, ripple_phase=phase)
    p = passage(Block(), Path(0.0, 0.3), (belt,), [2.0, 2.75])
    rows = np.flatnonzero(p.grip <= 1)
    for i in rows:
        found = [p.caught_time[i], *p.time[i]]
        assert_allclose(
            found, carried(speed[i], ripple, frequency[i], phase[i], [2.0, 2.75], found), rtol=1e-12
        )
    assert rows.size > 1


def test_trials_of_little_and_of_much_ripple_do_not_depend_on_each_other():
    rng, n = np.random.default_rng(5), 40
    belt = Belt(
        rng.uniform(0.3, 2.0, n), 0.4, ramp=rng.choice([0.0, 0.3], n), ripple=rng.uniform(0.0, 0.2, n),
        ripple_frequency=rng.uniform(0.0, 9.0, n), ripple_phase=rng.uniform(0, 7, n),
    )  # fmt: skip
    together = passage(Block(), Path(0.0, 0.3), (belt,), [1.0, 2.0])
    for i in range(0, n, 5):
        alone = passage(Block(), Path(0.0, 0.3), (take(belt, slice(i, i + 1)),), [1.0, 2.0])
        assert_array_equal(alone.time[0], together.time[i])
