"""What a study says of rigs, parts and passages, against closed forms, sums by hand and brute force."""

import csv
import json
import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import binomtest

from gatesim.chain import pipeline
from gatesim.commands.study import command as study_command
from gatesim.ground.distribution import Normal, Rectangular
from gatesim.ground.draw import Streams
from gatesim.ground.errors import InputError
from gatesim.ground.nested import Layout, Nested
from gatesim.ground.quantity import Quantity
from gatesim.scenario import parse_text
from gatesim.studies.engine import study
from gatesim.studies.levels import NestedSums, components
from gatesim.studies.model import Trials, layout_of
from gatesim.studies.moments import Moments
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import InThisProcess
from tests.study_models import FormulaModel

# An invented belt; its numbers serve as input only. Slit and point alike see a part carried at
# constant speed, so that L_read = s0 T / t_s in closed form.
BELT = """
[part]
length = "200 mm"
[belt]
speed = "0.8 m/s"
friction = 0.6
[gate]
first = "700 mm"
spacing = {{ value = "80 mm", distribution = "normal", standard_uncertainty = "0.06 mm" }}
[sensor]
dark_delay = "1 ms"
light_delay = {{ value = "1 ms", distribution = "normal", standard_uncertainty = "60 us", per = "part" }}
jitter = "{jitter}"
[counter]
frequency = "100 MHz"
[formula]
use = ["spacing-dwell"]
"""
V, L, S, U_S, U_DELAY, JITTER = 0.8, 0.200, 0.080, 0.06e-3, 60e-6, 40e-6


def belt() -> RigModel:
    return RigModel(parse_text(BELT.format(jitter="40 us")))


@pytest.mark.long
def test_variances_by_level_of_a_belt_are_those_of_its_closed_form_to_2_percent():
    # L_read = s0 T/t_s with T = L/v + (light 1 - dark 1), t_s = s/v + (dark 2 - dark 1), to first order:
    # by rig -L/s ds; by part v d(light 1); by passage the jitter of light 1, dark 1 and dark 2
    rig = L / S * U_S
    part = V * U_DELAY
    passage = V * JITTER * math.sqrt(1.0 + (L / S) ** 2 + (1.0 - L / S) ** 2)
    found = study(belt(), Plan(trials=1_000_000, seed=4)).formulas["spacing-dwell"]
    for estimate, exact in (
        (found.repeatability, passage), (found.part_to_part, part), (found.rig_to_rig, rig),
        (found.uncertainty, math.sqrt(rig**2 + part**2 + passage**2)),
    ):  # fmt: skip
        assert estimate.value**2 == pytest.approx(exact**2, rel=0.02)
        assert abs(estimate.value - exact) < 5.0 * estimate.error


@pytest.mark.long
def test_csv_gives_the_same_variances_by_sums_of_squares_one_by_one(tmp_path):
    path, rows = tmp_path / "trials.csv", tmp_path / "belt.toml"
    rows.write_text(BELT.format(jitter="40 us"))
    arguments = [str(rows), "--trials", "4000", "--csv", str(path), "--json"]
    printed = CliRunner().invoke(study_command, arguments, standalone_mode=False).output
    found = json.loads(printed)["error"]["spacing-dwell"]
    errors: dict[str, dict[str, list[float]]] = {}
    with path.open() as file:
        for row in csv.DictReader(file):
            error = float(row["reading spacing-dwell / m"]) - float(row["true length / m"])
            errors.setdefault(row["rig"], {}).setdefault(row["part"], []).append(error)
    # the textbook's nested analysis of variance for 1000 rigs, 2 parts, 2 passages
    every = [e for parts in errors.values() for passages in parts.values() for e in passages]
    grand = sum(every) / len(every)
    within = of_parts = of_rigs = 0.0
    for parts in errors.values():
        rig_mean = sum(sum(passages) for passages in parts.values()) / 4.0
        of_rigs += 4.0 * (rig_mean - grand) ** 2
        for passages in parts.values():
            part_mean = sum(passages) / 2.0
            of_parts += 2.0 * (part_mean - rig_mean) ** 2
            within += sum((e - part_mean) ** 2 for e in passages)
    mean_squares = within / 2000.0, of_parts / 1000.0, of_rigs / 999.0
    assert found["repeatability"]["value"] == pytest.approx(math.sqrt(mean_squares[0]), rel=1e-9)
    part = math.sqrt((mean_squares[1] - mean_squares[0]) / 2.0)
    assert found["part_to_part"]["value"] == pytest.approx(part, rel=1e-7)
    rig = math.sqrt((mean_squares[2] - mean_squares[1]) / 4.0)
    assert found["rig_to_rig"]["value"] == pytest.approx(rig, rel=1e-7)


def test_missing_readings_leave_the_estimates_unbiased():
    rng = np.random.default_rng(5)
    layout, rigs = Layout(3, 2), 40_000
    rig, part = rng.normal(0.0, 2.0, rigs), rng.normal(0.0, 1.5, (rigs, 3))
    errors = rig[:, None, None] + part[:, :, None] + rng.normal(0.0, 1.0, (rigs, 3, 2))
    errors[rng.random(errors.shape) < 0.3] = np.nan
    flat = errors.ravel()
    sums, read = NestedSums.of(flat, layout), flat[~np.isnan(flat)]
    between = Moments.of(read).m2 - sums.values[6] - sums.values[7]
    found = components(sums, between, layout)
    for (value, error), exact in ((found.passage, 1.0), (found.part, 2.25), (found.rig, 4.0)):
        assert error < 0.05
        assert abs(value - exact) < 4.0 * error


MIXED = {
    "rig": Quantity(0.0, spread=Rectangular(1.0), per="rig"),
    "part": Quantity(0.0, spread=Normal(0.4), per="part"),
    "passage": Quantity(0.0, spread=Normal(0.7), per="passage"),
}


@pytest.mark.long
def test_monte_carlo_errors_cover_as_often_as_two_sigma_should():
    # y = r^2 + (1 + r) p + q: rectangular, skew and with an interaction of rig and part
    model = FormulaModel(MIXED, lambda v: v["rig"] ** 2 + (1.0 + v["rig"]) * v["part"] + v["passage"])
    rig, part, passage = 4.0 / 45.0, (1.0 + 1.0 / 3.0) * 0.16, 0.49
    known = {
        "bias": 1.0 / 3.0,
        "repeatability": math.sqrt(passage),
        "part_to_part": math.sqrt(part),
        "rig_to_rig": math.sqrt(rig),
        "uncertainty": math.sqrt(rig + part + passage),
    }
    many = study(model, Plan(trials=2_000_000, seed=99), workers=1).formulas["y"]
    known |= {"low": many.low.value, "high": many.high.value}
    hits, runs = dict.fromkeys(known, 0), 300
    for seed in range(runs):
        found = study(model, Plan(trials=8_000, seed=seed), executor=InThisProcess()).formulas["y"]
        for figure, value in known.items():
            estimate = getattr(found, figure)
            hits[figure] += abs(estimate.value - value) <= 2.0 * estimate.error
    for figure, count in hits.items():
        for side in ("less", "greater"):
            test = binomtest(count, runs, math.erf(math.sqrt(2.0)), alternative=side)
            assert test.pvalue > 1e-6, f"{figure}: {count} of {runs}"


@pytest.mark.long
@pytest.mark.parametrize("quasi", [False, True])
def test_levels_have_the_same_bits_however_a_study_is_run(quasi, tmp_path):
    model, plan = belt(), Plan(trials=90_000, seed=3, quasi=quasi)
    alone = study(model, plan, workers=1).formulas["spacing-dwell"]
    two = study(model, plan, workers=2, state_file=tmp_path / "state").formulas["spacing-dwell"]
    again = study(model, plan, state_file=tmp_path / "state").formulas["spacing-dwell"]
    for figure in ("bias", "uncertainty", "repeatability", "part_to_part", "rig_to_rig", "calibrated"):
        assert getattr(alone, figure) == getattr(two, figure) == getattr(again, figure)


def test_sobol_points_tell_the_levels_apart_too():
    model = FormulaModel(MIXED, lambda v: v["rig"] + v["part"] + v["passage"])
    found = study(model, Plan(trials=2**17, quasi=True), workers=1).formulas["y"]
    for estimate, exact in (
        (found.rig_to_rig, math.sqrt(1.0 / 3.0)), (found.part_to_part, 0.4), (found.repeatability, 0.7),
    ):  # fmt: skip
        assert estimate.value == pytest.approx(exact, abs=5.0 * estimate.error)
        assert estimate.error < 0.01


def test_a_value_of_a_rig_is_the_same_for_all_its_trials_and_one_of_a_part_for_all_its_passages():
    draw = Nested(Streams(1, 0, 50), Layout(2, 3), {"r": "rig", "p": "part"}, 300)
    rig, part = draw.normal("r").reshape(50, 2, 3), draw.uniform("p", 4).reshape(50, 2, 3, 4)
    assert (rig == rig[:, :1, :1]).all()
    assert len(np.unique(rig)) == 50
    assert (part == part[:, :, :1]).all()
    assert len(np.unique(part)) == 50 * 2 * 4
    assert len(np.unique(draw.normal("q"))) == 300


def test_a_spread_says_how_often_it_is_drawn_and_else_its_table_does():
    text = BELT.format(jitter="40 us")
    inputs = parse_text(text).inputs()
    assert (inputs["gate.spacing"].per, inputs["sensor.light_delay@1"].per) == ("rig", "part")
    assert layout_of(belt()) == Layout(2, 2)
    only_rigs = parse_text(text.replace(', per = "part"', ""))
    assert layout_of(RigModel(only_rigs)) == Layout(1, 2)
    with pytest.raises(InputError, match=r"light_delay: given .*'belt'.*expected"):
        parse_text(text.replace('per = "part"', 'per = "belt"'))


@pytest.mark.long
def test_no_level_below_the_rig_leaves_no_difference_from_part_to_part():
    text = BELT.format(jitter="40 us").replace(', per = "part"', ', per = "passage"')
    found = study(RigModel(parse_text(text)), Plan(trials=40_000), workers=1).formulas["spacing-dwell"]
    assert (found.part_to_part.value, found.part_to_part.error) == (0.0, 0.0)
    assert found.rig_to_rig.value == pytest.approx(L / S * U_S, abs=5.0 * found.rig_to_rig.error)


def passages(model, block, spacing, lengths, count, rng):
    """Readings (parts, count) of one rig: one delay a part, a jitter a passage by the chain."""
    gates = {f"sensor.light_delay@{g}": 1e-3 + rng.normal(0.0, U_DELAY, lengths.size) for g in (1, 2)}
    values = {k: np.repeat(v, count) for k, v in {**gates, "part.length": lengths}.items()}
    draw = Streams(10, block, lengths.size * count)
    read = pipeline.run(model.scenario, draw, {**values, "gate.spacing": np.full(draw.trials, spacing)})
    return read.readings["spacing-dwell"].reshape(lengths.size, count)


@pytest.mark.long
def test_what_calibration_leaves_is_what_brute_force_finds_on_200_rigs():
    # every rig drawn, calibrated and measured on its own: no draw is shared with the study
    model, rng = belt(), np.random.default_rng(8)
    left = []
    for number in range(200):
        spacing = rng.normal(S, U_S)
        known = np.array([0.9 * L, 1.1 * L])
        readings = passages(model, number, spacing, known, 5, rng)
        gain, zero = np.polyfit(readings.mean(axis=1), known, 1)
        left.append(gain * passages(model, 1000 + number, spacing, np.full(20, L), 2, rng) + zero - L)
    found = study(model, Plan(trials=200_000, seed=6)).formulas["spacing-dwell"]
    assert found.calibrated.value == pytest.approx(float(np.std(np.ravel(left))), rel=0.04)
    by_rig = np.mean(left, axis=(1, 2))  # the rigs are independent, the passages on one are not
    error = np.hypot(np.std(by_rig, ddof=1) / len(left) ** 0.5, found.calibrated_bias.error)
    assert abs(found.calibrated_bias.value - np.mean(by_rig)) < 4.0 * error < 0.4 * found.calibrated.value
    assert found.calibrated.value < 0.8 * found.uncertainty.value


@dataclass(frozen=True)
class Scale:
    """A scale whose gain and zero are its own: y = a + b L + noise."""

    inputs: ClassVar = {
        "a": Quantity(0.0, spread=Normal(3.0), per="rig"),
        "b": Quantity(1.0, spread=Normal(0.05), per="rig"),
        "length": Quantity(10.0),
        "noise": Quantity(0.0, spread=Normal(0.1), per="passage"),
    }
    identity: ClassVar = "scale"

    def evaluate(self, values, draw, *, quantised=True):
        length = np.broadcast_to(values["length"], (draw.trials,))
        y = values["a"] + values["b"] * length + values["noise"]
        return Trials({"y": y}, length, np.zeros(draw.trials, np.int64))

    def reference_lengths(self, count):
        return np.linspace(8.0, 12.0, count)

    def with_references(self, values, lengths, trials):
        length = np.full(trials, 10.0)
        length[-lengths.size :] = lengths
        return {**values, "length": length}


def test_after_calibration_only_the_noise_and_that_of_the_references_is_left():
    found = study(Scale(), Plan(trials=200_000), workers=1).formulas["y"]
    # the line at the middle of k n = 10 readings adds a tenth of their variance
    assert found.calibrated.value == pytest.approx(0.1 * math.sqrt(1.1), rel=0.02)
    assert found.uncertainty.value == pytest.approx(math.hypot(3.0, 0.5), rel=0.02)


def test_calibration_that_cannot_be_read_is_refused_in_one_sentence(tmp_path):
    path = tmp_path / "belt.toml"
    path.write_text(BELT.format(jitter="40 us"))
    for given in ("0x5", "two", "2x", "1000x1000"):
        arguments = [str(path), "--calibration", given]
        result = CliRunner().invoke(study_command, arguments, standalone_mode=False)
        assert isinstance(result.exception, InputError)
        assert f"--calibration: given {given!r}, expected" in str(result.exception)
