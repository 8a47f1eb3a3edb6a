"""The split of an error into parts: it sums, has no order, and each part is what theory says."""

import math
from dataclasses import dataclass
from math import comb
from pathlib import Path

import numpy as np
import pytest

from gatesim.chain import pipeline
from gatesim.explanation import breakdown
from gatesim.explanation.effect import effects_of
from gatesim.explanation.shapley import shapley
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.scenario import load, parse_text

SCENARIOS = sorted((Path(__file__).parent.parent / "scenarios").glob("[1-6]-*.toml"))

# a level, frictionless rig at constant speed with a clock too fine to matter; tests add one effect each
STEADY = """
[part]
length = "200 mm"
height = "60 mm"
{part}
[path]
slope = "{slope}"
release_speed = "{speed}"
[gate]
first = "300 mm"
spacing = "80 mm"
[sensor]
{sensor}
[counter]
{counter}
{rest}
"""

FINE = 'frequency = "10000 MHz"'


def rig(part="", slope="0 deg", speed="1.5 m/s", sensor="", counter=FINE, rest=""):
    return parse_text(
        STEADY.format(part=part, slope=slope, speed=speed, sensor=sensor, counter=counter, rest=rest)
    )


def formulas(scenario):
    return list(pipeline.run(scenario, Nominal(1)).readings)


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_parts_sum_to_the_error_and_the_idealised_rig_reads_the_true_length(file):
    scenario = load(file)
    passed = pipeline.run(scenario, Nominal(1))
    for formula, reading in passed.readings.items():
        found = breakdown(scenario, formula)
        error = float(reading[0] - passed.true_length[0])
        assert found.error == error
        assert abs(sum(share.error for share in found.shares) - error) < 1e-12
        assert abs(found.rest) < 1e-12


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[1::4], ids=lambda f: f.stem)
def test_parts_do_not_depend_on_the_order_of_the_effects(file):
    scenario = load(file)
    real = pipeline.run(scenario, Nominal(1))
    formula = next(iter(real.readings))
    effects = effects_of(scenario, formula, real)
    one = {share.key: share.error for share in breakdown(scenario, formula, effects).shares}
    for order in (effects[::-1], effects[2:] + effects[:2]):
        other = {share.key: share.error for share in breakdown(scenario, formula, order).shares}
        assert other == pytest.approx(one, rel=0, abs=1e-14)


def test_shapley_values_of_the_fifteen_member_council():
    # 5 members with a veto, 10 without, 9 votes needed: 421/2145 and 4/2145. Shapley and Shubik,
    # American Political Science Review 48 (1954) 787, for the council of 15; from memory
    masks = np.arange(2**15)
    votes = (masks[:, None] >> np.arange(15)) & 1
    passes = (votes[:, :5].all(axis=1) & (votes.sum(axis=1) >= 9)).astype(float)
    shares = shapley(passes)
    np.testing.assert_allclose(shares[:5], 421 / 2145, rtol=1e-12)
    np.testing.assert_allclose(shares[5:], 4 / 2145, rtol=1e-12)


def test_shapley_values_of_the_glove_game():
    # one left glove, two right ones, a pair is worth 1: 4/6, 1/6, 1/6 (common textbook example, from memory)
    left, right_a, right_b = (((np.arange(8) >> bit) & 1).astype(bool) for bit in range(3))
    worth = (left & (right_a | right_b)).astype(float)
    np.testing.assert_allclose(shapley(worth), [4 / 6, 1 / 6, 1 / 6], rtol=1e-14)


def test_shapley_values_are_the_means_over_all_orders():
    from itertools import permutations

    values = np.random.default_rng(3).normal(size=2**5)
    mean = np.zeros(5)
    for order in permutations(range(5)):
        mask = 0
        for cause in order:
            mean[cause] += (values[mask | 1 << cause] - values[mask]) / math.factorial(5)
            mask |= 1 << cause
    np.testing.assert_allclose(shapley(values), mean, atol=1e-14)
    assert sum(comb(4, s) for s in range(5)) == 2**4


def test_acceleration_alone_reads_short_by_half_a_T_T_minus_ts():
    # x = v t + a t^2/2, Newton's second law: the error of s T/t_s is -(a/2) T (T - t_s)
    scenario = rig(slope="30 deg", speed="0 m/s")
    a, first, spacing, length = 9.80665 * 0.5, 0.3, 0.08, 0.2
    at, transit, dwell = (math.sqrt(2 * x / a) for x in (first, first + spacing, first + length))
    transit, dwell = transit - at, dwell - at
    found = breakdown(scenario, "spacing-dwell")
    assert found.share("motion") == pytest.approx(-a / 2 * dwell * (dwell - transit), abs=1e-9)
    assert found.biggest().key == "motion"


@pytest.mark.parametrize("formula", ["known-acceleration", "fixed-release", "four-edge"])
def test_acceleration_has_no_part_where_the_formula_knows_of_it(formula):
    found = breakdown(rig(slope="30 deg", speed="0 m/s"), formula)
    assert abs(found.share("motion")) < 1e-9


def test_beam_part_is_twice_the_knife_edge_penetration():
    # penetration/diameter at a blocked share of 0.10 is 0.156475587: circular segment area. The leading
    # face is seen late by as much as the trailing face is seen early
    sensor = (
        'beam = { shape = "circular", diameter = "4 mm" }\ndark_fraction = "90 %"\nlight_fraction = "90 %"'
    )
    found = breakdown(rig(sensor=sensor), "spacing-dwell")
    assert found.share("beam") == pytest.approx(-2 * (0.5 - 0.156475587) * 4e-3, abs=2e-9)
    assert abs(found.share("motion")) < 1e-12


def test_delay_part_is_speed_times_the_difference():
    sensor = 'dark_delay = "50 us"\nlight_delay = "350 us"'
    found = breakdown(rig(sensor=sensor), "spacing-dwell")
    assert found.share("response") == pytest.approx(1.5 * 300e-6, abs=1e-9)


def test_receiver_part_of_a_sharp_edge_is_its_step_response():
    # 1 - exp(-t/tau) reaches 3/4 after tau ln 4, and exp(-t/tau) falls to 3/4 after tau ln(4/3)
    sensor = 'time_constant = "0.2 ms"\ndark_fraction = "75 %"\nlight_fraction = "75 %"'
    found = breakdown(rig(sensor=sensor), "spacing-dwell")
    assert found.share("response") == pytest.approx(-1.5 * 0.2e-3 * math.log(3), abs=1e-8)


def test_tilt_part_is_the_length_over_the_cosine():
    found = breakdown(rig(part='tilt = "4 deg"'), "spacing-dwell")
    assert found.share("tilt") == pytest.approx(0.2 * (1 / math.cos(math.radians(4)) - 1), abs=1e-9)


def test_cone_and_beam_share_evenly_what_needs_them_both():
    # a beam 3 mm off the axis meets a cone of half-height 30 mm and length 20 mm only 2 mm behind its tip:
    # neither a beam on the axis nor a square end would, so that each has half (symmetry of Shapley's value)
    sensor = 'beam = { shape = "slit", width = "0.2 mm", height = "0.2 mm", offset = "3 mm" }'
    found = breakdown(
        rig(part='front = { shape = "cone", length = "20 mm" }', sensor=sensor), "spacing-dwell"
    )
    assert found.error == pytest.approx(-2e-3, abs=1e-6)
    assert found.share("shape") == pytest.approx(-1e-3, abs=5e-6)
    assert found.share("beam") == pytest.approx(-1e-3, abs=5e-6)


def test_spacing_part_is_the_length_times_its_relative_error():
    found = breakdown(rig(rest='[formula]\nspacing = "80.4 mm"'), "spacing-dwell")
    assert found.share("distances") == pytest.approx(0.2 * 0.4 / 80, abs=1e-9)


def test_calibration_part_is_gain_and_zero():
    found = breakdown(rig(rest='[formula]\ngain = 1.01\nzero = "-0.5 mm"'), "spacing-dwell")
    assert found.share("calibration") == pytest.approx(0.2 * 0.01 - 0.5e-3, abs=1e-9)


def test_clock_error_cancels_in_a_ratio_and_not_in_a_time():
    counter = 'frequency = "10000 MHz"\nfrequency_error = "1 %"'
    scenario = rig(slope="30 deg", speed="0 m/s", counter=counter)
    assert abs(breakdown(scenario, "spacing-dwell").share("clock")) < 1e-9
    a, at = 9.80665 * 0.5, math.sqrt(2 * 0.3 / (9.80665 * 0.5))
    transit, dwell = (math.sqrt(2 * (0.3 + x) / a) - at for x in (0.08, 0.2))
    # (a/2) T (T - t_s) with both times read 1 % long
    expected = a / 2 * dwell * (dwell - transit) * (1.01**2 - 1)
    assert breakdown(scenario, "known-acceleration").share("clock") == pytest.approx(expected, abs=1e-9)


def test_slip_part_is_the_travel_missed():
    counter = (
        '[counter.encoder]\npulses_per_turn = 1000000\nedge_factor = 4\nroller_diameter = "60 mm"\n'
        'rides_on = "part"\nslip = "0.5 %"'
    )
    found = breakdown(rig(counter=counter), "encoder-pitch")
    assert found.share("slip") == pytest.approx(-0.005 * 0.2, abs=1e-7)


def test_polling_moves_the_reading_by_at_most_one_scan_at_either_end():
    counter = 'frequency = "10000 MHz"\n[counter.timing]\nkind = "polled"\ncycle = "2 ms"'
    scenario = rig(counter=counter)
    (share,) = (s for s in breakdown(scenario, "spacing-dwell").shares if s.key == "timing")
    assert share.low <= share.error <= share.high
    # dwell 200/1.5 ms and transit 80/1.5 ms in whole scans: 66 or 67 and 26 or 27 of them
    readings = [80e-3 * n / m - 0.2 for n in (66, 67) for m in (26, 27)]
    assert min(abs(share.low - r) for r in readings) < 1e-9
    assert min(abs(share.high - r) for r in readings) < 1e-9


@dataclass(frozen=True)
class _CountPhase:
    """Medians but for the phase of the count."""

    trials: int

    def uniform(self, name, columns=None):
        if name == "counter.phase":
            return np.random.default_rng(5).uniform(size=self.trials)
        return Nominal(self.trials).uniform(name, columns)

    def normal(self, name, columns=None):
        return Nominal(self.trials).normal(name, columns)


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[1::2], ids=lambda f: f.stem)
def test_interval_of_counting_holds_every_phase_and_no_more(file):
    scenario = load(file)
    nominal = pipeline.run(scenario, Nominal(1))
    many = pipeline.run(scenario, _CountPhase(20_000))
    for formula in list(nominal.readings)[:2]:
        (share,) = (s for s in breakdown(scenario, formula).shares if s.key == "counting")
        change = many.readings[formula] - nominal.readings[formula]
        assert change.min() == pytest.approx(share.low - share.error, abs=1e-12)
        assert change.max() == pytest.approx(share.high - share.error, abs=1e-12)


def test_nothing_to_explain_is_said_in_a_sentence():
    with pytest.raises(InputError, match="no reading"):
        breakdown(rig(part='mass = "1 kg"', slope="-30 deg", speed="0.5 m/s"))
    with pytest.raises(InputError, match="expected one of"):
        breakdown(rig(), "fixed-release")
