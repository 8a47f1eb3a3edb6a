"""A part that the belt cannot carry, always or at times, slips on; against closed forms and solve_ivp."""

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from gatesim.ground.arrays import take
from gatesim.ground.outcome import Outcome
from gatesim.motion import AirDrag, Belt, EddyBrake, Path, passage
from tests.motion_rigs import Block

G = 9.80665
STEEP = Path(np.deg2rad(30.0))
GAIN = G * (0.5 - 0.5 * np.cos(np.pi / 6))  # 0.657 m/s^2 once the part is the faster


def stick_slip(belt, free, friction, positions, end):
    """Times at which a part from rest passes positions, phase by phase in time: solve_ivp and root finding.

    free(x, v): acceleration without the belt. A phase is (x, v) under kinetic friction until the speeds
    match, or the belt's own motion until friction does not suffice.
    """
    pull, t, x, v = friction * G, 0.0, 0.0, 0.0
    found, changes = {}, 0

    def belt_speed(time):
        return float(belt.velocity(np.array(time)))

    def lacking(time, where):
        return float(belt.acceleration(np.array(time))) - free(where, belt_speed(time))

    def look(curve, low, high, before, after):
        for p in positions:
            if before < p <= after:
                found[p] = brentq(lambda time, p=p: curve(time) - p, low, high, xtol=1e-14)

    sign, sticking = 1.0, False
    while t < end:
        if sticking:
            begun = float(belt.travel(np.array(t)))

            def curve(time, x=x, begun=begun):
                return x + float(belt.travel(np.array(time))) - begun

            times = np.arange(t + 1e-4, end + 2e-4, 1e-4)
            over = next((time for time in times if abs(lacking(time, curve(time))) > pull), None)
            until = times[-1]
            if over is not None:
                until = brentq(lambda s: abs(lacking(s, curve(s))) - pull, over - 1e-4, over, xtol=1e-15)
            look(curve, t, until, x, curve(until))
            t, x, v = until, curve(until), belt_speed(until)
            sign, sticking = np.sign(lacking(t + 1e-9, x)), False
        else:
            first = t + 1e-6

            def match(time, y, first=first, sign=sign):
                return sign * (belt_speed(time) - y[1]) if time > first else 1.0

            match.terminal, match.direction = True, -1
            run = solve_ivp(
                lambda time, y, sign=sign: [y[1], free(*y) + sign * pull],
                (t, end), [x, v], "DOP853", rtol=1e-12, atol=1e-13, events=match, dense_output=True,
                max_step=5e-3,
            )  # fmt: skip
            look(lambda time, run=run: run.sol(time)[0], t, run.t[-1], x, run.y[0, -1])
            t, (x, v) = run.t[-1], run.y[:, -1]
            sticking = abs(lacking(t, x)) <= pull
            if not sticking:
                sign = np.sign(lacking(t, x))
        changes += 1
    return [found[p] for p in positions], changes


def test_part_on_too_steep_a_belt_slides_ahead_of_it():
    # by hand: g (sin + mu cos) up to the belt's speed, then g (sin - mu cos)
    p = passage(Block(), STEEP, (Belt(1.0, 0.5),), [0.02, 0.5, 1.5])
    first = G * (0.5 + 0.5 * np.cos(np.pi / 6))
    met, at = 1 / first, 1 / (2 * first)
    speed = np.sqrt(1 + 2 * GAIN * (np.array([0.5, 1.5]) - at))
    assert_allclose(p.speed[0], [np.sqrt(2 * first * 0.02), *speed], rtol=1e-12)
    assert_allclose(p.time[0, 1:], met + (speed - 1) / GAIN, rtol=1e-12)
    assert_allclose(p.grip, np.tan(np.pi / 6) / 0.5, rtol=1e-12)
    assert p.outcome[0] == Outcome.SLIPPING
    assert np.isnan(p.caught_position[0])
    times = np.linspace(met, p.time[0, 2], 7)[None]
    assert_allclose(p.travel_at(times), at + (times - met) + GAIN * (times - met) ** 2 / 2, rtol=1e-9)


def test_belt_uphill_beyond_friction_is_lost_and_the_part_runs_back():
    p = passage(Block(), Path(-np.pi / 6, release_speed=2.0), (Belt(1.0, 0.5),), [0.1, 3.0])
    slows, then = G * (0.5 + 0.25 * 3**0.5), G * (0.5 - 0.25 * 3**0.5)
    assert p.outcome[0] == Outcome.RAN_BACK
    assert_allclose(p.stop_position, 3 / (2 * slows) + 1 / (2 * then), rtol=1e-12)


def test_brake_gives_a_part_that_slides_ahead_back_to_the_belt():
    # past the brake's ramp its drag brings the part back to the belt's speed, at which friction suffices
    brake = EddyBrake(0.5, 2.0, 0.5, 3.0)
    part = Block(length=2.0)
    p = passage(part, STEEP, (Belt(1.0, 0.5), brake), [0.4, 1.4, 2.0])
    first = G * (0.5 + 0.5 * np.cos(np.pi / 6))
    entry = np.sqrt(1 + 2 * GAIN * (0.5 - 1 / (2 * first)))

    def rate(_, y):
        drag = 0.5 * (y[0] - 0.5) / 2.0 * 2 * (y[1] / 3) / (1 + (y[1] / 3) ** 2)
        return [y[1], GAIN - drag / 0.08]

    def level(_, y):
        return y[1] - 1.0

    level.terminal = True
    run = solve_ivp(rate, (0, 5), [0.5, entry], "DOP853", rtol=1e-12, atol=1e-13, events=level)
    assert run.status == 1
    assert 0.5 < run.y[0, -1] < 2.0
    since = 1 / first + (entry - 1) / GAIN + run.t[-1]
    assert_allclose(p.caught_position, run.y[0, -1], rtol=1e-9)
    assert_allclose(p.time[0, 2], since + 2.0 - run.y[0, -1], rtol=1e-9)
    assert p.outcome[0] == Outcome.MEASURED
    assert p.grip[0] <= 1


RIPPLES = [
    (Belt(1.0, 0.2, ripple=0.1, ripple_frequency=10.0), 0.0, 0.0),  # three times the friction there is
    (Belt(1.0, 0.2, ripple=0.08, ripple_frequency=5.0, ripple_phase=1.0), 0.0, 0.0),  # sticks for a while
    (Belt(1.0, 0.3, ripple=0.05, ripple_frequency=6.0), 0.2, 0.0),  # slips ahead, downhill only
    (Belt(0.75, 0.45, ripple=0.01, ripple_frequency=97.0, ripple_phase=2.0), -0.05, 0.0),  # a fast one
    (Belt(0.8, 0.25, ramp=0.5, ripple=0.06, ripple_frequency=8.0), 0.1, 0.6),  # run-up and air drag
    (
        Belt(0.9, 0.3, ramp=0.4, ripple=0.05, ripple_frequency=17.0, ripple_phase=0.4),
        -0.05,
        0.9,
    ),  # the same, uphill
    (Belt(0.9, 0.3, ripple=-0.015, ripple_frequency=60.0, ripple_phase=2.0), 0.0, 3.0),  # much air drag
]


@pytest.mark.long
@pytest.mark.parametrize(("belt", "slope", "drag"), RIPPLES)
def test_ripple_beyond_friction_makes_the_part_slip_and_stick(belt, slope, drag):
    positions = [0.1, 0.3, 0.55, 0.8]
    friction = belt.friction * np.cos(slope)
    air = AirDrag(drag, 0.1, 1.2)
    p = passage(Block(), Path(slope), (belt, air), positions)

    def free(x, v):
        return G * np.sin(slope) - 0.5 * 1.2 * drag * 0.1 * v * v / 0.08

    expected, changes = stick_slip(belt, free, friction, positions, p.time[0, -1] + 0.01)
    assert changes > 3
    assert_allclose(p.time[0], expected, rtol=1e-8)
    assert p.outcome[0] == Outcome.SLIPPING
    assert_allclose(p.travel_at(p.time)[0, :3], positions[:3], rtol=1e-12)


@pytest.mark.long
def test_position_between_the_gates_follows_slip_and_stick():
    belt = RIPPLES[1][0]
    close = np.linspace(0.05, 0.8, 76)
    coarse = passage(Block(), Path(0.0), (belt,), [0.8])
    fine = passage(Block(), Path(0.0), (belt,), close)
    assert_allclose(coarse.travel_at(fine.time[:, :-1])[0], close[:-1], rtol=0, atol=5e-6)


def test_part_that_never_loses_its_grip_is_measured_though_the_ripple_peaks_later():
    # the ripple's acceleration grows from its zero at the crest: a quarter of a period lies past the end
    belt = Belt(1.0, 0.05, ripple=0.1, ripple_frequency=1.0, ripple_phase=np.pi / 2)
    p = passage(Block(), Path(0.0, release_speed=1.1), (belt,), [0.05, 0.1])
    t = p.time[0, 1]
    assert_allclose(belt.travel(p.time[0]), [0.05, 0.1], rtol=1e-12)
    assert_allclose(p.grip, 0.1 * 2 * np.pi * np.sin(2 * np.pi * t) / (0.05 * G), rtol=1e-9)
    assert p.outcome[0] == Outcome.MEASURED
    assert_allclose(p.caught_position, 0.0)


@pytest.mark.long
def test_slipping_and_sticking_do_not_depend_on_the_company():
    n = 30
    rng = np.random.default_rng(5)
    belt = Belt(
        rng.uniform(0.5, 1.5, n), rng.uniform(0.1, 0.4, n), ripple=rng.uniform(0, 0.1, n),
        ripple_frequency=rng.uniform(1, 9, n), ripple_phase=rng.uniform(0, 6, n),
    )  # fmt: skip
    path, forces = Path(rng.uniform(0.0, 0.4, n)), (belt, AirDrag(1.0, 0.01))
    everything = passage(Block(), path, forces, [0.3, 0.6, 1.4])
    assert 5 < np.count_nonzero(everything.grip > 1) < n
    for i in range(0, n, 4):
        rows = np.array([i])
        alone = passage(Block(), take(path, rows), tuple(take(f, rows) for f in forces), [0.3, 0.6, 1.4])
        for name in ("time", "speed", "caught_position", "grip", "outcome"):
            assert np.array_equal(getattr(alone, name)[0], getattr(everything, name)[i], equal_nan=True), name


def test_grip_too_weak_by_a_sixth_of_a_percent_for_the_peak_of_a_ripple_is_lost_at_any_phase():
    # a belt at v (1 + r sin(w t + p)) takes at most v r w; it is looked at 64 times a period, which
    # finds a peak to cos(pi / 64) = 0.9988 of it
    v, ripple, frequency = 1.0, 0.05, 5.0
    phase = np.linspace(0.0, 2.0 * np.pi, 200, endpoint=False)
    needed = v * ripple * 2.0 * np.pi * frequency / G
    path = Path(0.0, release_speed=v * (1.0 + ripple * np.sin(phase)))
    for share, lost in ((0.9985, True), (1.0001, False)):
        belt = Belt(v, share * needed, ripple=ripple, ripple_frequency=frequency, ripple_phase=phase)
        p = passage(Block(), path, (belt,), [0.5])
        assert np.all((p.outcome == Outcome.SLIPPING) == lost)
        assert np.all((p.grip > 1.0) == lost)


def shaken(belt, friction, slope, position):
    """When a part from rest is at ``position``: slip, stick, slip, event by event, with brentq alone."""
    w, p, r, ramp = 2 * math.pi * belt.ripple_frequency, belt.ripple_phase, belt.ripple, belt.ramp
    free, pull = G * math.sin(slope), friction * G * math.cos(slope)

    def even(t):
        return belt.speed * min(t / ramp, 1.0) if ramp else belt.speed

    def velocity(t):
        return even(t) * (1 + r * math.sin(w * t + p))

    def lacking(t):
        rate = belt.speed / ramp if t < ramp else 0.0
        return rate * (1 + r * math.sin(w * t + p)) + even(t) * r * w * math.cos(w * t + p) - free

    def travel(t):
        rate, run = (belt.speed / ramp, min(t, ramp)) if ramp else (0.0, 0.0)
        swing = even(0.0) * math.cos(p) - even(t) * math.cos(w * t + p)
        return (
            rate * run**2 / 2 + belt.speed * (t - run) + r * swing / w
            + r * rate * (math.sin(w * run + p) - math.sin(p)) / w**2
        )  # fmt: skip

    def way(t, v, a, held, until):
        return travel(until) - travel(t) if held else (v + a * (until - t) / 2) * (until - t)

    def over(t, v, a, held, until):
        if held:
            return abs(lacking(until)) - pull
        return (velocity(until) - v - a * (until - t)) * (1.0 if a < free else -1.0)

    def root(function, low, high, *more):
        return brentq(lambda s: function(*more, s), low, high, xtol=1e-16, rtol=1e-15)

    t, x, v, a, held = 0.0, 0.0, 0.0, free + pull, bool(ramp)
    while True:
        step = 1 / (100 * belt.ripple_frequency)
        while over(t, v, a, held, t + 2 * step) > 0:  # the first slips in a run-up may be short
            step /= 2
        number = 2
        while over(t, v, a, held, t + number * step) <= 0:
            number += 1
        until = root(over, t + (number - 1) * step, t + number * step, t, v, a, held)
        on = way(t, v, a, held, until)
        if x + on > position:
            return root(lambda *now, left=position - x: way(*now) - left, t, until, t, v, a, held)
        t, x, v = until, x + on, velocity(until)
        held = not held and abs(lacking(t)) <= pull
        a = free + math.copysign(pull, lacking(t))


@pytest.mark.parametrize(
    ("speed", "friction", "ripple", "frequency", "slope"),
    [(0.75, 0.45, 0.006, 430.0, 0.0), (0.75, 0.45, -0.006, 2000.0, 0.05), (0.5, 0.3, 0.2, 150.0, -0.1)],
)
def test_slip_and_stick_over_hundreds_of_cycles_come_to_the_positions_in_time(
    speed, friction, ripple, frequency, slope
):
    belt = Belt(speed, friction, ripple=ripple, ripple_frequency=frequency, ripple_phase=0.4)
    p = passage(Block(), Path(slope), (belt,), [0.2, 0.4, 0.41])
    times = [shaken(belt, friction, slope, x) for x in (0.2, 0.4, 0.41)]
    assert_allclose(p.time[0], times, rtol=1e-10)
    assert p.outcome[0] == Outcome.SLIPPING
    # between the positions, too: at the reference's own times, to a hundredth of the ripple's amplitude
    between = [shaken(belt, friction, slope, x) for x in (0.25, 0.33, 0.405)]
    assert_allclose(p.travel_at(np.array([between]))[0], [0.25, 0.33, 0.405], atol=1e-7)


@pytest.mark.parametrize(
    ("ramp", "ripple", "frequency", "slope"),
    [(0.6, 0.006, 430.0, 0.0), (1.5, -0.02, 97.0, 0.05), (0.3, 0.2, 40.0, -0.1)],
)
def test_slip_and_stick_while_the_belt_runs_up_come_to_the_positions_in_time(ramp, ripple, frequency, slope):
    """From the hold at rest on, through all of the run-up, and past its end."""
    belt = Belt(
        0.75, 0.45, ramp=ramp, ripple=ripple, ripple_frequency=frequency, ripple_phase=0.4
    )  # fmt: skip
    places = [0.05, 0.2, 0.21, 0.6]
    p = passage(Block(), Path(slope), (belt,), places)
    times = [shaken(belt, 0.45, slope, x) for x in places]
    assert times[1] < ramp < times[3] or ramp == 0.3
    assert_allclose(p.time[0], times, rtol=1e-11)
    between = [shaken(belt, 0.45, slope, x) for x in (0.07, 0.13, 0.5)]
    assert_allclose(p.travel_at(np.array([between]))[0], [0.07, 0.13, 0.5], atol=1e-5)


@pytest.mark.parametrize("drag", [0.0, 3.0])
def test_slip_and_stick_in_a_run_up_do_not_depend_on_the_company(drag):
    rng, n = np.random.default_rng(7), 8
    belt = Belt(
        rng.uniform(0.3, 1.5, n), 0.3, ramp=rng.choice([0.0, 0.2, 0.5], n), ripple=rng.uniform(0.0, 0.1, n),
        ripple_frequency=10 ** rng.uniform(0.5, 2.0, n), ripple_phase=rng.uniform(0, 7, n),
    )  # fmt: skip
    air = AirDrag(rng.choice([0.0, drag], n), 0.1)
    together = passage(Block(), Path(0.05), (belt, air), [0.3, 0.5])
    for i in range(n):
        alone = passage(
            Block(), Path(0.05), (take(belt, slice(i, i + 1)), take(air, slice(i, i + 1))), [0.3, 0.5]
        )
        for name in ("time", "speed", "caught_position", "grip", "outcome"):
            assert np.array_equal(getattr(alone, name)[0], getattr(together, name)[i], equal_nan=True), name


def test_cycles_taken_at_once_do_not_depend_on_the_company():
    rng, n = np.random.default_rng(6), 6
    belt = Belt(
        rng.uniform(0.3, 1.5, n), 0.3, ripple=rng.uniform(0.005, 0.05, n),
        ripple_frequency=10 ** rng.uniform(1.5, 3.3, n), ripple_phase=rng.uniform(0, 7, n),
    )  # fmt: skip
    together = passage(Block(), Path(0.05), (belt,), [0.3, 0.5])
    for i in range(n):
        alone = passage(Block(), Path(0.05), (take(belt, slice(i, i + 1)),), [0.3, 0.5])
        assert np.array_equal(alone.time[0], together.time[i])


@pytest.mark.long
@pytest.mark.parametrize("ripple", [0.006, 0.3])
def test_a_ripple_too_fast_to_follow_is_refused_in_time(ripple):
    belt = Belt(0.75, 0.45, ripple=ripple, ripple_frequency=1e6)
    with pytest.raises(ArithmeticError, match="the speed of the belt ripples so fast"):
        passage(Block(), Path(0.0), (belt,), [0.4, 0.5])


@pytest.mark.long
def test_a_ripple_too_fast_while_other_forces_change_is_refused_at_once():
    belt = Belt(0.75, 0.45, ripple=0.02, ripple_frequency=20e3)
    with pytest.raises(ArithmeticError, match="while the belt runs up or other forces change"):
        passage(Block(), Path(0.0), (belt, AirDrag(1.0, 0.01)), [0.1, 0.4])


def test_slip_while_a_rippling_belt_runs_up_ends_where_speeds_are_level():
    """Against brentq on the gap of speeds of the first slip, from rest on a belt from rest."""
    belt = Belt(0.75, 0.45, ramp=0.3, ripple=0.3, ripple_frequency=20.0, ripple_phase=2.5)
    p = passage(Block(), Path(0.0, release_speed=0.1), (belt,), [0.3])
    a = -0.45 * G  # the part is the faster one at first

    def gap(t):
        return 0.75 * min(t / 0.3, 1) * (1 + 0.3 * math.sin(40 * math.pi * t + 2.5)) - 0.1 - a * t

    met = brentq(gap, 1e-6, 0.03, xtol=1e-16)
    assert np.abs(p.node_time - met).min() < 1e-13
