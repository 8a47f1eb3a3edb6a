"""Streams of parts against closed forms of renewal theory.

The rig: parts at a constant speed v past two gates a spacing s apart, shorter than the part,
so that each part of length L keeps at least one gate dark for its busy time C = (s + L)/v. The
counter is re-armed when both gates are light. So a measuring cycle is a busy period of a queue
with as many servers as there are parts (M/G/infinity for exponential gaps), which is also the
counter with extended (paralysable) dead time: L. Takacs, Introduction to the Theory of Queues
(1962), ch. 3 and 6; G. F. Knoll, Radiation Detection and Measurement, ch. 4 (both from memory).
A part is read correctly if and only if it is alone in its busy period; derived below from that.
"""

import math

import numpy as np
import pytest
from scipy import stats

from gatesim.scenario.reader import from_raw
from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.feed import Feeding, feed
from gatesim.studies.feed.supply import spacing_of

SPEED, LENGTH, SPACING = 1.0, 0.100, 0.050
DARK, BUSY = LENGTH / SPEED, (SPACING + LENGTH) / SPEED


def rig(**tables):
    raw = {
        "part": {"length": "100 mm"},
        "path": {"release_speed": "1 m/s"},
        "gate": {"first": "10 mm", "spacing": "50 mm"},
        "counter": {"frequency": "100 kHz"},
    }
    for key, table in tables.items():
        raw[key] = {**raw.get(key, {}), **table}
    return from_raw(raw)


def shares(scenario, pattern, rates, parts=10_000, scatter=0.2, seed=1):
    """Shares of each fate at each rate, and their standard errors over the streams."""
    result = feed(scenario, Feeding(spacing_of(pattern, scatter), 0.99, parts, seed), rates, workers=1)
    found = []
    for point in result.points:
        each = point.fates / point.fates.sum(axis=1, keepdims=True)
        found.append((each.mean(axis=0), each.std(axis=0, ddof=1) / math.sqrt(len(each))))
    return found


def near(value, error):
    return pytest.approx(value, abs=4.5 * error + 1e-9)


@pytest.mark.parametrize("load", [0.05, 0.3, 1.0])
def test_exponential_gaps_give_every_share_in_closed_form(load):
    """With g, h the gaps before and after a part, each exponential (rate r), independent:

    correct: g > C and h > C, so exp(-2 r C);  merged: g < T or h < T, so 1 - exp(-2 r T), T the
    dwell;  missed (comes while the counter is busy): T < g < C and h > T;  mixed up (its cycle
    takes in the next part): g > C and T < h < C. The four add up to 1.
    """
    rate = load / BUSY
    ((share, error),) = shares(rig(), "exponential", [rate])
    dark, busy = math.exp(-rate * DARK), math.exp(-rate * BUSY)
    expected = {
        Fate.CORRECT: busy**2,
        Fate.MERGED: 1.0 - dark**2,
        Fate.MISSED: (dark - busy) * dark,
        Fate.MIXED: busy * (dark - busy),
        Fate.SPLIT: 0.0,
    }
    assert sum(expected.values()) == pytest.approx(1.0)
    for fate, value in expected.items():
        assert share[fate] == near(value, error[fate])


@pytest.mark.parametrize(
    ("pattern", "scatter", "above"),
    [
        ("uniform", 0.3, lambda x: stats.uniform(1 - 0.3 * 3**0.5, 0.6 * 3**0.5).sf(x)),
        ("normal", 0.25, lambda x: stats.norm(1.0, 0.25).sf(x)),
    ],
)
def test_any_gaps_give_the_square_of_the_chance_of_one_longer_than_the_busy_time(pattern, scatter, above):
    for load in (0.6, 0.9, 1.1):
        ((share, error),) = shares(rig(), pattern, [load / BUSY], scatter=scatter)
        assert share[Fate.CORRECT] == near(above(load) ** 2, error[Fate.CORRECT])


@pytest.mark.long
def test_random_lengths_are_a_queue_with_general_service():
    """M/G/infinity: nobody there on arrival exp(-r E C), nobody comes while it is there E exp(-r C).

    With lengths uniform within l about L: E exp(-r C) = exp(-r E C) sinh(r l/v)/(r l/v).
    """
    half, rate = 0.045, 1.2 / BUSY
    length = {"value": "100 mm", "distribution": "rectangular", "half_width": "45 mm"}
    ((share, error),) = shares(rig(part={"length": length}), "exponential", [rate], parts=40_000)
    x = rate * half / SPEED
    assert share[Fate.CORRECT] == near(math.exp(-2.0 * rate * BUSY) * math.sinh(x) / x, error[Fate.CORRECT])


def test_an_input_filter_lengthens_the_dwell_by_its_time_where_gaps_are_concerned():
    """A stable-for filter of time tau swallows gaps below tau: merged if g or h < T + tau."""
    rate, tau = 0.5 / BUSY, 0.030
    scenario = rig(filter={"kind": "stable-for", "time": "30 ms"})
    ((share, error),) = shares(scenario, "exponential", [rate])
    assert share[Fate.MERGED] == near(1.0 - math.exp(-2.0 * rate * (DARK + tau)), error[Fate.MERGED])
    assert share[Fate.CORRECT] == near(math.exp(-2.0 * rate * BUSY), error[Fate.CORRECT])


def limit(scenario, pattern="fixed", least=0.99, parts=2_000, seed=1):
    return feed(scenario, Feeding(spacing_of(pattern, 0.2), least, parts, seed), workers=1)


@pytest.mark.long
@pytest.mark.parametrize(
    ("tables", "interval", "element"),
    [
        ({}, BUSY, "re-arming"),
        ({"gate": {"rearm": "400 mm"}}, 0.400, "re-arming"),
        ({"filter": {"kind": "stable-for", "time": "80 ms"}}, DARK + 0.080, "input filter"),
        ({"sensor": {"sampling_period": "20 ms", "samples_in_row": 4}}, None, "sensor"),
        ({"gate": {"spacing": "2 mm"}}, 0.102, "re-arming"),
    ],
)
def test_equal_spacing_may_come_as_fast_as_the_slowest_element_allows(tables, interval, element):
    """Equal parts at equal gaps: 1/C, 1/(T + tau), or 1/(time to the re-arming gate) (derived)."""
    result = limit(rig(**tables))
    assert result.limited_by == element
    if interval is not None:
        assert result.limit == pytest.approx(1.0 / interval, rel=2e-3)
        assert result.limit_low <= 1.0 / interval * (1 + 1e-9)
        assert result.limit_high >= (1.0 - 2e-3) / interval


@pytest.mark.long
def test_interval_of_the_yield_holds_the_true_one_as_often_as_it_says():
    """exp(-2 r C) = 0.9. Of 40 intervals at 95 %, fewer than 32 hold it less than once in 2,000 times."""
    true = -math.log(0.9) / (2.0 * BUSY)
    assert stats.binom(40, 0.95).cdf(31) < 1 / 2000
    held = 0
    for seed in range(40):
        feeding = Feeding(spacing_of("exponential", 0.0), 0.9, 1_000, seed)
        low, high = feed(rig(), feeding, [true], workers=1).points[0].correct_interval
        held += low <= 0.9 <= high
    assert held >= 32


@pytest.mark.long
def test_limit_and_its_interval_are_where_the_closed_form_has_them():
    """Slope of exp(-2 r C) turns the interval of the yield into that of the rate (delta method)."""
    true = -math.log(0.9) / (2.0 * BUSY)
    feeding = Feeding(spacing_of("exponential", 0.0), 0.9, 10_000, 3)
    found = feed(rig(), feeding, [0.5 * true, true, 2.0 * true], workers=1)
    low, high = found.points[1].correct_interval
    slope = 2.0 * BUSY * 0.9
    assert found.limit_low < true < found.limit_high
    assert found.limit_high - found.limit_low == pytest.approx((high - low) / slope, rel=0.15)


def scalar_readings(arrivals, third):
    """The gate logic edge by edge in plain Python: which parts are read correctly, gate 3 at ``third`` m."""
    edges = []
    for part, at in enumerate(arrivals):
        for gate, x in ((1, 0.0), (2, SPACING), (3, third)):
            edges += [(at + x / SPEED, gate, True, part), (at + (x + LENGTH) / SPEED, gate, False, part)]
    inside = {1: 0, 2: 0, 3: 0}
    cycle, correct, done = None, set(), []
    for _, gate, dark, part in sorted(edges):
        before = inside[gate]
        inside[gate] += 1 if dark else -1
        if (before > 0) == (inside[gate] > 0):
            continue  # overlapping parts are one darkness
        if gate == 3 and dark and cycle is not None:
            done.append(cycle)
            cycle = None
        if gate == 1 and dark and cycle is None:
            cycle = {"first": part, "dwell": None, "capture": None}
        elif gate == 1 and not dark and cycle is not None:
            cycle["dwell"] = part
        elif gate == 2 and dark and cycle is not None and cycle["capture"] is None:
            cycle["capture"] = part
    for cycle in done:
        if cycle["first"] == cycle["dwell"] == cycle["capture"]:
            correct.add(cycle["first"])
    return correct


@pytest.mark.long
@pytest.mark.parametrize(("load", "third"), [(0.1, 0.16), (0.4, 0.16), (0.4, 0.40), (1.2, 0.25)])
def test_a_third_gate_agrees_with_a_plain_simulation_of_its_own(load, third):
    """Independent event-by-event simulation with other random numbers; both have statistical errors."""
    rng = np.random.default_rng(8)
    rate = load / third
    parts = 40_000
    read = scalar_readings(np.cumsum(rng.exponential(1.0 / rate, parts)), third)
    blocks = np.bincount([part // 100 for part in read], minlength=parts // 100) / 100.0
    scenario = rig(gate={"rearm": f"{1e3 * third} mm"})
    ((share, error),) = shares(scenario, "exponential", [rate], parts=20_000)
    both = math.hypot(error[Fate.CORRECT], blocks.std() / math.sqrt(blocks.size))
    assert share[Fate.CORRECT] == near(blocks.mean(), both)
    # nobody within C before, and after it nobody within T (one darkness) or C - T (an end before re-arming)
    alone = math.exp(-rate * (third + max(DARK, third - DARK)))
    assert share[Fate.CORRECT] >= alone - 4.5 * both
