"""The first-order receiver against the differential equation, solved by scipy."""

import math

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from gatesim.chain.account.sidenotes import remarks, unsettled
from gatesim.chain.pipeline import run
from gatesim.ground.draw import Nominal
from gatesim.part import ChamferedEnd, Notch, Part, RoundEnd
from gatesim.scenario import parse_text
from gatesim.sensor import CircularBeam, SlitBeam, blocked_fraction, receiver_delay
from gatesim.sensor.profile import runs

BEAM = CircularBeam(2e-3)
SQUARE = Part(0.05, height=20e-3)
CONE = Part(0.05, height=20e-3, front=ChamferedEnd(8e-3), rear=RoundEnd(10e-3))
NOTCHED = Part(0.05, height=20e-3, openings=(Notch(0.02, 3e-3),))


def crossing(part, run, share, speed, tau):
    """When the receiver's signal crosses the share, counted from when the light does, or None."""
    v, start = speed, run.travel[0]
    until = (run.travel[-1] - start) / v + (30.0 * tau if run.last else 0.0)

    def falls_behind(t, y):
        return (blocked_fraction(part, BEAM, np.array([start + v * t]), part.length)[0] - y) / tau

    def reached(t, y):
        return y[0] - share

    reached.terminal, reached.direction = True, 1.0 if run.rising else -1.0
    begin = blocked_fraction(part, BEAM, np.array([start]), part.length)
    found = solve_ivp(falls_behind, (0.0, until), begin, events=reached, rtol=1e-10, atol=1e-12,
                      max_step=2e-4 / v)  # fmt: skip
    if not found.t_events[0].size:
        return None
    return found.t_events[0][0] - (run.reached(share) - start) / v


@pytest.mark.long
@pytest.mark.parametrize(("part", "number"), [(SQUARE, 0), (SQUARE, 1), (CONE, 0), (CONE, 1), (NOTCHED, 1)])
@pytest.mark.parametrize("lag", [0.02, 0.3, 1.0])
def test_the_delay_is_that_of_the_differential_equation(part, number, lag):
    run = runs(part.silhouette(part.length), BEAM)[number]
    rng = np.random.default_rng(number)
    share, speed = rng.uniform(0.2, 0.8, 3), rng.uniform(0.3, 3.0, 3)
    tau = lag * 1e-3 / speed  # lag lengths about the beam's radius
    delay = receiver_delay(run, share, speed, tau)
    for one in zip(delay, share, speed, tau, strict=True):
        found, (s, v, t) = one[0], one[1:]
        expected = crossing(part, run, s, v, t)
        assert found == pytest.approx(expected, rel=2e-4, abs=5e-6 * 2e-3 / v)


def test_a_face_that_passes_at_once_is_late_by_the_step_response():
    # step response 1 - exp(-t/tau): the share s is crossed after -tau ln(1 - s)
    share, tau = np.array([0.25, 0.5, 0.75]), 1e-3
    speed = 2e-3 / (1e-3 * tau)  # crosses the beam in a thousandth of the time constant
    run = runs(Part(1e4).silhouette(1e4), BEAM)[0]
    delay = receiver_delay(run, share, np.full(3, speed), np.full(3, tau))
    np.testing.assert_allclose(delay, -tau * np.log(1.0 - share), rtol=1e-3)


def test_a_slow_ramp_is_followed_one_time_constant_late():
    # a settled first-order system trails a ramp by its time constant
    run = runs(Part(0.4, height=2e-3, front=ChamferedEnd(0.2)).silhouette(0.4), SlitBeam(1e-4, 2e-3))[0]
    delay = receiver_delay(run, np.array([0.3, 0.6]), np.full(2, 1.0), np.full(2, 1e-3))
    np.testing.assert_allclose(delay, 1e-3, rtol=1e-3)


def test_the_lag_in_travel_grows_with_the_speed():
    run = runs(SQUARE.silhouette(0.05), BEAM)[0]
    speed = np.geomspace(0.05, 20.0, 40)
    for share in (0.3, 0.5, 0.7):
        late = speed * receiver_delay(run, np.full(40, share), speed, np.full(40, 100e-6))
        assert (np.diff(late) > 0.0).all()


def test_an_opening_too_brief_for_the_receiver_is_not_seen():
    part = Part(0.05, height=20e-3, openings=(Notch(0.02, 3e-3),))
    falls = runs(part.silhouette(0.05), BEAM)[1]
    assert not falls.rising
    v = 2.0
    for tau, seen in ((0.2e-3, True), (5e-3, False)):
        delay = receiver_delay(falls, np.array([0.5]), np.array([v]), np.array([tau]))[0]
        assert np.isfinite(delay) == seen
        assert (crossing(part, falls, 0.5, v, tau) is not None) == seen


def test_no_time_constant_no_delay():
    run = runs(SQUARE.silhouette(0.05), BEAM)[0]
    assert receiver_delay(run, np.array([0.5]), np.array([1.0]), np.array([0.0])).tolist() == [0.0]


def test_the_delay_of_a_trial_does_not_depend_on_the_others():
    run = runs(SQUARE.silhouette(0.05), BEAM)[0]
    rng = np.random.default_rng(0)
    share, speed, tau = rng.uniform(0.3, 0.7, 50), rng.uniform(0.1, 5.0, 50), rng.uniform(0.0, 1e-3, 50)
    together = receiver_delay(run, share, speed, tau)
    alone = [receiver_delay(run, share[i : i + 1], speed[i : i + 1], tau[i : i + 1])[0] for i in range(50)]
    assert together.tolist() == alone


UNSETTLED = """
[part]
length = "{length} mm"
height = "30 mm"
[path]
release_speed = "1 m/s"
[gate]
first = "100 mm"
spacing = "100 mm"
[sensor]
beam = {{ shape = "circular", diameter = "0.2 mm" }}
time_constant = "2 ms"
dark_fraction = "55 %"
light_fraction = "45 %"
[counter]
frequency = "10 MHz"
"""


@pytest.mark.parametrize("length", [4.0, 5.0, 8.0, 40.0])
def test_a_receiver_that_has_not_settled_is_told_with_what_it_costs(length):
    # tau dy/dt = F - y in closed form for a part that covers the beam at once: dark from 0 to T
    passed = run(parse_text(UNSETTLED.format(length=length)), Nominal(1))
    tau, dwell = 2e-3, length * 1e-3
    dark_at = -tau * math.log(1.0 - 0.55)
    peak = 1.0 - math.exp(-dwell / tau)
    light_at = dwell + tau * math.log(peak / 0.45)
    computed = float(np.diff(passed.light[0][0][:2])[0])
    early = computed - (light_at - dark_at)
    assert unsettled(passed, 1) == pytest.approx(early, abs=4e-6)
    told = [s for s in remarks(parse_text(UNSETTLED.format(length=length)), passed) if "not settled" in s]
    assert bool(told) == (early > 0.05e-3)
    if told:
        assert f"{1e3 * early:.2g}"[:3] in told[0]
