"""Parts on a rippled belt whose light is interpolated over the phase at which they come."""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from gatesim.motion import passage
from gatesim.studies.feed.feed import Feeding, feed_with
from gatesim.studies.feed.supply import PartDraws, Parts, spacing_of
from tests.test_feed_renewal import rig

GRAVITY = 9.80665


def belt_rig(first, spacing="50 mm", part=None, path=None, **belt):
    table = {"speed": "1 m/s", "friction": 0.4, "ripple": "0.6 %", "ripple_frequency": "7 Hz", **belt}
    path = {"release_speed": "0 m/s", "slope": "0 deg", **(path or {})}
    part = {"mass": "50 g", **(part or {})}
    return rig(path=path, belt=table, gate={"first": first, "spacing": spacing}, part=part)


def crossing(position, released, speed=1.0, friction=0.4, ripple=0.006, frequency=7.0):
    """When a part put on the belt at rest comes to a position: plain arithmetic and Brent's method."""
    w, a = 2 * math.pi * frequency, friction * GRAVITY

    def belt(t):
        return speed * (1 + ripple * math.sin(w * t))

    def travel(t):
        return speed * (t - ripple / w * math.cos(w * t))

    caught = brentq(lambda t: belt(released + t) - a * t, 0.0, 2 * speed / a, xtol=1e-15)
    if 0.5 * a * caught**2 >= position:
        return math.sqrt(2 * position / a)
    ahead = position - 0.5 * a * caught**2
    start = travel(released + caught)
    late = released + caught + 2 * ahead / speed + 1.0
    return brentq(lambda t: travel(t) - start - ahead, released + caught, late, xtol=1e-15) - released


def test_parts_come_when_arithmetic_of_their_own_says():
    parts = Parts.of(belt_rig("300 mm"), PartDraws(1, 0, 2, 40))
    times = np.sort(np.random.default_rng(4).uniform(0.0, 50.0, (2, 40)), axis=1)
    assert parts.over.rows.size == 80
    found = parts.released(times)
    positions = parts.query.positions.reshape(2, 40, -1)
    for gate, columns in zip(found.gates, parts.query.edges, strict=True):
        for at in np.ndindex(2, 40):
            for edge, position in zip(gate[at], positions[at][columns], strict=True):
                # the time since release; in the sum with it digits are lost
                assert edge - times[at] == pytest.approx(crossing(position, times[at]), rel=1e-9, abs=1e-13)


def furthest_off(scenario, seed=1, parts=50):
    """Largest relative difference from light of the equation of motion, and share that is interpolated."""
    made = Parts.of(scenario, PartDraws(seed, 0, 2, parts, {"belt.friction": "part"}))
    times = np.sort(np.random.default_rng(seed).uniform(0.0, 100.0, (2, parts)), axis=1)
    off = 0.0
    plain = replace(made, over=None)
    for mine, own in zip(made.released(times).gates, plain.released(times).gates, strict=True):
        seen = np.isfinite(own)
        assert np.array_equal(seen, np.isfinite(mine))
        since = own[seen] - np.broadcast_to(times[:, :, None], own.shape)[seen]
        off = max(off, float(np.max(np.abs(mine[seen] - own[seen]) / since, initial=0.0)))
    return off, 0.0 if made.over is None else made.over.rows.size / (2 * parts)


SPREAD = {"value": 0.4, "distribution": "rectangular", "half_width": 0.1}
CAUGHT = 1e3 / (2 * 0.4 * GRAVITY)
NOTCH = {"openings": [{"kind": "notch", "start": "40 mm", "length": "10 mm"}]}


@pytest.mark.parametrize(
    ("scenario", "least", "most"),
    [
        pytest.param(belt_rig("300 mm", friction=SPREAD), 1.0, 1.0, id="little ripple"),
        pytest.param(belt_rig("300 mm", friction=SPREAD, part=NOTCH), 1.0, 1.0, id="a notch"),
        pytest.param(belt_rig("300 mm", ripple="2 %"), 1.0, 1.0, id="more phases"),
        pytest.param(belt_rig(f"{CAUGHT} mm", "250 mm", friction=SPREAD), 0.5, 0.95, id="some at gate 1"),
        pytest.param(belt_rig(f"{CAUGHT} mm", friction=0.4), 0.0, 0.0, id="all caught at gate 1"),
        pytest.param(belt_rig("300 mm", ripple="20 %"), 0.0, 0.0, id="slip and stick"),
        pytest.param(belt_rig("300 mm", ramp_time="0.3 s"), 0.0, 0.0, id="caught at the end of the run-up"),
        pytest.param(belt_rig("300 mm", path={"slope": "-25 deg"}), 0.0, 0.0, id="never caught"),
    ],
)  # fmt: skip
def test_light_is_that_of_the_equation_of_motion_and_interpolated_where_it_is_smooth(scenario, least, most):
    off, share = furthest_off(scenario)
    assert off <= 1e-9
    assert least <= share <= most


@pytest.mark.long
def test_no_belt_of_fifty_random_ones_is_off_by_more_than_a_billionth():
    """Caught before, at and behind the gates, in run-ups, slipping for good and again: invented rigs."""
    rng, worst, served = np.random.default_rng(8), 0.0, []
    for case in range(50):
        speed, friction = rng.uniform(0.2, 1.5), rng.choice([0.1, 0.3, 0.6])
        caught = speed**2 / (2 * friction * GRAVITY)
        spread = {
            "value": friction,
            "distribution": "rectangular",
            "half_width": friction * rng.choice([0.02, 0.3]),
        }
        belt = {
            "speed": f"{speed} m/s",
            "friction": spread,
            "ripple": f"{rng.choice([0.2, 0.6, 1, 3, 10])} %",
            "ripple_frequency": f"{rng.choice([1, 3, 7, 20])} Hz",
        }
        if rng.random() < 0.3:
            belt["ramp_time"] = f"{rng.choice([0.1, 0.5, 1.5]) * speed / (friction * GRAVITY)} s"
        if rng.random() < 0.3:
            belt["start"] = f"{1e3 * rng.uniform(0.0, caught)} mm"
        first = max(caught * rng.choice([0.5, 0.9, 1.0, 1.1, 1.5, 4.0]), 0.005)
        path = {"release_speed": f"{rng.choice([0.0, 0.1, 1.9]) * speed} m/s"}
        off, share = furthest_off(belt_rig(f"{1e3 * first} mm", path=path, **belt), seed=case)
        worst = max(worst, off)
        served.append(share)
    assert worst <= 1e-9
    assert 0.1 < np.mean(served) < 0.9


def test_a_belt_is_solved_at_a_dozen_or_two_of_phases_whatever_the_number_of_rates(monkeypatch):
    solved = []

    def counted(*asked):
        solved.append(len(asked[-1]))
        return passage(*asked)

    monkeypatch.setattr("gatesim.studies.feed.supply.passage", counted)
    feed_with(
        belt_rig("300 mm", ripple="0.2 %"),
        [Feeding(spacing_of("fixed", 0.0), 0.99, 200)],
        [[0.2 * step for step in range(1, 41)]],
        workers=1,
    )
    assert sum(solved) <= 28 * 2 * 115
