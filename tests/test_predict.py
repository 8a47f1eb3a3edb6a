"""One prediction, from a scenario to a reading."""

import json
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gatesim import predict
from gatesim.chain.pipeline import run
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.scenario import parse_text
from tests.rigs import rig

G = 9.80665


@settings(max_examples=60)
@given(
    length=st.floats(10, 800),
    spacing=st.floats(10, 400),
    first=st.floats(20, 1000),
    slope=st.floats(5, 90),
    friction=st.just(0.0) | st.floats(1e-9, 0.05),
)
def test_the_whole_pipeline_reads_short_by_half_a_T_T_minus_ts(length, spacing, first, slope, friction):
    # Newton's second law on a slope, x = v t + a t^2/2 (any mechanics text)
    scenario = rig(
        length=f'"{length!r} mm"',
        spacing=f'"{spacing!r} mm"',
        first=f'"{first!r} mm"',
        slope=f'"{slope!r} deg"\nfriction = {friction!r}',
    )
    passed = run(scenario, Nominal(1), quantised=False)
    a = G * (math.sin(math.radians(slope)) - friction * math.cos(math.radians(slope)))
    t = [math.sqrt(2e-3 * x / a) for x in (first, first + length, first + spacing)]
    dwell, capture = t[1] - t[0], t[2] - t[0]
    expected = -0.5 * a * dwell * (dwell - capture)
    error = passed.readings["spacing-dwell"][0] - passed.true_length[0]
    assert error == pytest.approx(expected, abs=1e-9 * (1.0 + length / spacing))
    for exact in ("known-acceleration", "fixed-release", "four-edge"):
        assert passed.readings[exact][0] == pytest.approx(1e-3 * length, rel=1e-6)


def test_a_chute_that_reads_162_for_170_mm_at_1_9_m_per_s_has_3_2_m_per_s2():
    # common practice, no source: these three numbers of a shop floor belong together
    slope = math.degrees(math.asin(3.2 / G))
    distance = 1.9**2 / (2 * 3.2)  # where the speed is 1.9 m/s, from rest
    chute = predict(rig(slope=f'"{slope!r} deg"', first=f'"{1e3 * distance!r} mm"'))
    assert chute.crossings[0].front_speed_m_per_s == pytest.approx(1.9, abs=1e-6)
    assert chute.reading("spacing-dwell").length_m == pytest.approx(0.162, abs=0.5e-3)


def test_the_same_part_braked_to_0_58_m_per_s_reads_within_1_mm():
    # common practice, no source
    slope = math.degrees(math.asin(3.2 / G))
    brake = """
[brake]
start = "0 mm"
length = "1500 mm"
law = "linear"
terminal_speed = "0.58 m/s"
"""
    braked = predict(rig(brake, slope=f'"{slope!r} deg"', first='"900 mm"'))
    assert braked.crossings[0].front_speed_m_per_s == pytest.approx(0.58, abs=0.01)
    assert braked.reading("spacing-dwell").length_m == pytest.approx(0.170, abs=1e-3)


@pytest.mark.parametrize(("speed", "counts"), [(7.44, 672), (0.581, 8600)])
def test_50_mm_at_100_kHz_gives_the_counts_of_a_shop_floor(speed, counts):
    # common practice, no source: 672 counts are 7.44 m/s, 8600 counts 0.581 m/s (three digits)
    level = predict(rig(slope=f'"0 deg"\nrelease_speed = "{speed} m/s"'))
    assert level.counts["capture"] == pytest.approx(counts, rel=1e-3)


def test_a_reading_is_unbiased_over_the_phase_of_the_clock_to_first_order():
    # mean of floor(f T + phase) over a uniform phase is f T (see gatesim.counter.source.Clock)
    slow = rig(slope='"0 deg"\nrelease_speed = "2 m/s"', frequency='"2 kHz"')
    trials = 200_000
    passed = run(slow, Streams(3, 0, trials))
    exact = run(slow, Nominal(1), quantised=False)
    for name in ("dwell", "capture"):
        counts = getattr(passed.counts, name)
        off = counts.mean() - getattr(exact.counts, name)[0]
        assert abs(off) < 5.5 * 0.5 / math.sqrt(trials)  # at most half a count of standard deviation


def test_time_scales_with_the_square_root_of_one_over_gravity():
    # similarity of free fall: a quarter of the gravity doubles every time and changes no ratio
    earth, weak = rig(), rig(slope=f'"30 deg"\ngravity = "{G / 4!r} m/s^2"')
    one, two = (run(s, Nominal(1), quantised=False) for s in (earth, weak))
    assert two.counts.dwell[0] == pytest.approx(2.0 * one.counts.dwell[0], rel=1e-9)
    assert two.readings["spacing-dwell"][0] == pytest.approx(one.readings["spacing-dwell"][0], rel=1e-9)


OUTCOMES = [
    (
        Outcome.STOPPED,
        {"slope": '"5 deg"\nfriction = 0.2\nrelease_speed = "0.3 m/s"'},
        "",
        "after release, before gate 1",
    ),
    (Outcome.STOPPED, {"slope": '"5 deg"\nfriction = 0.2'}, "", "does not start"),
    (Outcome.RAN_BACK, {"slope": '"-20 deg"\nrelease_speed = "1 m/s"'}, "", "runs back"),
    (
        Outcome.RUNAWAY,
        {"slope": '"80 deg"'},
        '[brake]\nstart = "100 mm"\nlength = "600 mm"\npeak_force = "1 N"\ncritical_speed = "0.5 m/s"\n',
        "peak force is below what drives the part",
    ),
    (
        Outcome.RUNAWAY,
        {"slope": '"30 deg"\nrelease_speed = "4 m/s"'},
        '[brake]\nstart = "100 mm"\nlength = "150 mm"\npeak_force = "1.2 N"\ncritical_speed = "0.5 m/s"\n',
        "Let it enter slower",
    ),
    (
        Outcome.SLIPPING,
        {"slope": '"30 deg"'},
        '[belt]\nspeed = "1 m/s"\nfriction = 0.5\n',
        "1.15 times the friction there is",
    ),
    (
        Outcome.SLIPPING,
        {"slope": '"0 deg"'},
        '[belt]\nspeed = "3 m/s"\nfriction = 0.2\n',
        "Move the gates down the belt",
    ),
    (Outcome.SWALLOWED, {}, '[filter]\nkind = "stable-for"\ntime = "300 ms"\n', "The counter reads 0"),
    (
        Outcome.NOT_DARKENED,
        {"length": '"170 mm"\nheight = "1 mm"'},
        '[sensor]\nbeam = { shape = "circular", diameter = "4 mm" }\n',
        "wider than the part can darken",
    ),
    (Outcome.EARLY_REARM, {"spacing": '"50 mm"\nrearm = "120 mm"'}, "", "longer than the 120 mm"),
    (Outcome.OVERFLOW, {"frequency": '"2 MHz"\nwidth = 16'}, "", "65535"),
    (
        Outcome.PULSES_LOST,
        {"frequency": '"150 kHz"\ninput_frequency_limit = "100 kHz"'},
        "",
        "counts one in 2",
    ),
    (
        Outcome.LATE_CAPTURE,
        {"length": '"30 mm"', "frequency": '"100 kHz"\ncounting = "while-dark"'},
        "",
        "shorter",
    ),
    (
        Outcome.MISSED,
        {"frequency": '"100 kHz"\ntiming = { kind = "polled", cycle = "2 s" }'},
        "",
        "between two scans",
    ),
    (
        Outcome.STRETCHED,
        {},
        '[filter]\nkind = "hold-off"\ntime = "90 ms"\n',
        "less than the hold-off",
    ),
    (
        Outcome.EARLY_REARM,
        {"spacing": '"50 mm"\nrearm = "180 mm"', "length": '"170 mm"\ntilt = "60 deg"'},
        "",
        "input filter, sensor or tilt",
    ),
    (Outcome.NO_READING, {"frequency": '"1 Hz"'}, "", "makes no length of these counts: a count is zero"),
    (Outcome.NO_READING, {}, '[formula]\nuse = ["encoder-pitch"]\n', "needs counts of travel"),
    (
        Outcome.NEXT_TOO_SOON,
        {"spacing": '"50 mm"\nrearm = "500 mm"'},
        '[follower]\ninterval = "150 ms"\n',
        "next part",
    ),
]


@pytest.mark.parametrize(("outcome", "lines", "extra", "words"), OUTCOMES)
def test_an_impossible_rig_is_a_result_with_an_explanation(outcome, lines, extra, words):
    prediction = predict(rig(extra, **lines))
    assert prediction.outcome == outcome.word
    assert words in prediction.explanation
    if not outcome.reads:
        assert all(reading.length_m is None and reading.reason for reading in prediction.readings)
    json.dumps(prediction.data(), allow_nan=False)


def test_a_prediction_is_the_same_code_as_a_study_of_one_trial():
    scenario = rig()
    one = predict(scenario)
    many = run(scenario, Nominal(5))
    assert np.all(many.readings["spacing-dwell"] == one.reading("spacing-dwell").length_m)


def test_a_reading_comes_as_a_pint_quantity_on_request():
    prediction = predict(rig())
    length = prediction.length("spacing-dwell")
    assert f"{length.units:~}" == "mm"
    assert length.to("m").magnitude == pytest.approx(prediction.reading("spacing-dwell").length_m)


UNUSED = """
[part]
length = "85 mm"
[path]
slope = "20 deg"
[gate]
first = "160 mm"
spacing = "120 mm"
rearm = "320 mm"
[counter]
frequency = "{frequency}"
width = 16
[formula]
use = {use}
"""


def test_a_register_that_the_formula_in_charge_does_not_need_spoils_nothing_when_it_overflows():
    slow = predict(parse_text(UNUSED.format(frequency="100 kHz", use='["spacing-dwell"]')))
    # v^2 = 2 a x from rest: the trailing end passes gate 2 at sqrt(2 (160 + 120 + 85) mm / a)
    a = 9.80665 * math.sin(math.radians(20.0))
    enters, leaves = (math.sqrt(2.0 * x / a) for x in (0.160, 0.365))
    assert slow.counts["rear_capture"] == pytest.approx(1e5 * (leaves - enters), abs=1.0)
    fast = 65_536 / (leaves - enters) * 1.2  # beyond 16 bits at the last edge alone
    for use, read in (
        ('["spacing-dwell"]', [True]),
        ('["spacing-dwell", "rear-edge"]', [True, False]),
        ('["rear-edge", "spacing-dwell"]', [False, False]),
    ):
        told = predict(parse_text(UNUSED.format(frequency=f"{fast:.0f} Hz", use=use)))
        assert [reading.length_m is not None for reading in told.readings] == read
        assert told.outcome == ("measured" if read[0] else "counter overflow")
        if read[0]:
            assert told.readings[0].error_m == pytest.approx(slow.readings[0].error_m, abs=2e-5)
        assert all(r.reason == "counter overflow" for r in told.readings if r.length_m is None)
