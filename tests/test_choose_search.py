"""Screening, sharing, comparison and output of the search for a rig."""

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy import stats

from gatesim.chain import pipeline
from gatesim.commands.choose import command
from gatesim.commands.schema import command as schema_command
from gatesim.ground.data import data_of
from gatesim.ground.draw import Repeated, Streams
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.prediction.predict import predict
from gatesim.scenario import load
from gatesim.shopfloor.decision import guarded, risks
from gatesim.studies.choice.candidate import candidates
from gatesim.studies.choice.choose import choose
from gatesim.studies.choice.compare import compare, pareto
from gatesim.studies.choice.evaluate import Round, evaluate, groups_of
from gatesim.studies.choice.figures import figures_of
from gatesim.studies.choice.model import choice_of, load_choice
from gatesim.studies.choice.shared import part_values, run_together
from gatesim.studies.choice.winner import save_winner
from tests.choice_rigs import CHUTE, choice

BRAKED = {
    **CHUTE,
    "path": {"slope": {"value": "30 deg", "distribution": "normal", "standard_uncertainty": "0.2 deg"}},
    "brake": {"start": "100 mm", "length": "800 mm", "peak_force": "2 N", "critical_speed": "3 m/s"},
    "sensor": {"jitter": "2 us"},
}
SENSORS = {
    "point": {},
    "wide": {"set": {"sensor.beam": {"shape": "circular", "diameter": "3 mm"}}, "cost": 5},
}
CLOCKS = {
    "slow": {"set": {"counter.frequency": "5 kHz"}, "cost": 1},
    "fast": {"set": {"counter.frequency": "1 MHz"}, "cost": 9},
}


def test_rigs_run_together_read_what_each_reads_alone():
    found = candidates(choice(base=BRAKED, options={"sensor": SENSORS, "clock": CLOCKS}))
    scenarios = [c.scenario for c in found]
    draw = Repeated(Streams(5, 0, 300), 3)
    lengths = np.repeat([0.060, 0.130, 0.200], 300)
    assert len(groups_of(found)) == 1
    for scenario, together in zip(
        scenarios, run_together(scenarios, draw, lengths, quantised=False), strict=True
    ):
        alone = pipeline.run(scenario, draw, part_values(scenario, draw, lengths), quantised=False)
        np.testing.assert_allclose(
            together.readings["spacing-dwell"], alone.readings["spacing-dwell"], rtol=1e-8
        )
        np.testing.assert_array_equal(together.outcome, alone.outcome)


@pytest.mark.parametrize("first", ["fixed-release", "spacing-dwell", "four-edge"])
def test_a_formula_is_judged_alone_whichever_is_tried_first_on_the_rig(first):
    """One has no release from rest here; one reads a register that overflows, which the third does not."""
    base = {**CHUTE, "path": {"slope": "30 deg", "release_speed": "0.1 m/s"}, "sensor": {"jitter": "2 us"}}
    base["counter"] = {"frequency": "800 kHz", "width": 16}
    names = sorted(["fixed-release", "spacing-dwell", "four-edge"], key=lambda name: name != first)
    wanted = {"shortest": "60 mm", "longest": "60 mm", "lengths": 1}
    options = {"formula": {name: {"set": {"formula.use": [name]}} for name in names}}
    asked = choice(wanted, base, options=options)
    found, short = candidates(asked), Round(20, 1)
    assert len(groups_of(found)) == 1
    together = evaluate(found, asked, short)
    for candidate, evaluation in zip(found, together, strict=True):
        (alone,) = evaluate([candidate], asked, short)
        assert (alone.refusal, data_of(alone.figures)) == (evaluation.refusal, data_of(evaluation.figures))
    refusals = {c.picks["formula"]: e.refusal for c, e in zip(found, together, strict=True)}
    assert refusals["spacing-dwell"] == ""
    assert refusals["fixed-release"].startswith("formula")
    assert refusals["four-edge"].startswith("counter overflow")


def test_a_part_that_stops_past_its_own_gates_is_measured_though_another_rig_asks_further():
    """Constant deceleration by friction: v^2 = v0^2 - 2 mu g x (derived)."""
    stop = 1.0 / (2.0 * 0.4 * 9.80665)  # 127.5 mm from release at 1 m/s
    base = {
        "part": {"length": "20 mm"},
        "path": {"friction": 0.4, "release_speed": "1 m/s"},
        "gate": {"first": "50 mm", "spacing": "50 mm"},
        "counter": {"frequency": "1 MHz"},
    }
    wide = {"set": {"sensor.beam": {"shape": "slit", "width": "20 mm", "height": "1 mm"},
                    "sensor.dark_fraction": "90 %", "sensor.light_fraction": "10 %"}}  # fmt: skip
    wanted = {"shortest": "20 mm", "longest": "20 mm"}
    assert 0.120 < stop < 0.120 + 0.008  # the wide beam clears 8 mm past the part's end at gate 2
    result = choose(choice(wanted, base, options={"beam": {"point": {}, "wide": wide}}), 50, workers=1)
    point, other = result.entries
    assert not point.evaluation.refusal
    assert other.evaluation.refusal


LIMITS = {
    "part swallowed": {"filter": {"kind": "stable-for", "time": "200 ms"}},
    "missed by the counter": {"counter.timing": {"kind": "polled", "cycle": "2 s"}},
    "counter overflow": {"counter": {"frequency": "10 MHz", "width": 16}},
    "pulses lost": {"counter.input_frequency_limit": "100 kHz"},
    "stopped": {"path": {"friction": 0.4, "release_speed": "1 m/s"}},
    "ran back": {"path": {"slope": "-20 deg", "release_speed": "1 m/s"}},
    "slipping on the belt": {"belt": {"speed": "3 m/s", "friction": 0.1}, "path": {}},
    "runaway past the brake": {
        "brake": {"start": "0 mm", "length": "900 mm", "peak_force": "0.05 N", "critical_speed": "0.1 m/s"}
    },
    "re-armed too early": {"gate.rearm": "90 mm"},
    "formula": {"formula.use": ["encoder-pitch"]},
    "it does not fit together": {"gate.rearm": "70 mm"},
}


@pytest.mark.parametrize("reason", LIMITS)
def test_a_rig_beyond_a_physical_limit_is_rejected_with_its_reason(reason):
    options = {"rig": {"good": {}, "bad": {"set": LIMITS[reason]}}}
    good, bad = choose(choice(options=options), 30, workers=1).entries
    assert good.evaluation.figures is not None
    assert bad.evaluation.figures is None
    assert bad.evaluation.refusal.startswith(reason)


def test_room_and_feed_rate_are_limits():
    """Room from the geometry, busy time by x = a t^2/2 (derived): both sides of each limit."""
    a = 9.80665 * math.sin(math.radians(30.0))
    busy = math.sqrt(2.0 * 0.700 / a) - math.sqrt(2.0 * 0.200 / a)
    reach = 0.200 + 0.500 + 2.0 * 0.200
    for key, least, unit in (
        ("floor_space", reach * math.cos(math.radians(30.0)), "m"),
        ("headroom", reach * 0.5, "m"),
    ):
        for factor, refused in ((0.999, True), (1.001, False)):
            found = choose(choice({key: f"{factor * least!r} {unit}"}), 30, workers=1).entries[0]
            assert bool(found.evaluation.refusal) is refused
    for factor, refused in ((0.999, False), (1.001, True)):
        found = choose(choice({"feed_rate": f"{factor / busy!r} Hz"}), 30, workers=1).entries[0]
        assert found.evaluation.busy == pytest.approx(busy, rel=1e-9)
        assert found.evaluation.refusal.startswith("feed rate") is refused


def test_pareto_front_is_what_no_other_candidate_beats():
    rng = np.random.default_rng(4)
    costs, values = rng.integers(0, 12, 80).astype(float), rng.integers(0, 30, 80).astype(float)
    values[7] = np.inf
    front = pareto(costs, values)
    points = set(zip(costs[front], values[front], strict=True))
    beaten = [
        any(
            (c <= costs[i] and v <= values[i]) and (c < costs[i] or v < values[i])
            for c, v in zip(costs, values, strict=True)
        )
        for i in range(80)
    ]
    expected = {(costs[i], values[i]) for i in range(80) if not beaten[i] and np.isfinite(values[i])}
    assert points == expected
    assert front.sum() == len(points)  # of equals only one


def test_confidence_of_a_comparison_is_that_of_a_paired_test_corrected_for_their_number():
    """scipy.stats.ttest_rel; at 4,000 trials Student's t is the normal distribution to 1e-3."""
    rng = np.random.default_rng(5)
    common = rng.normal(size=4000)
    first, second = common[None, :], (common + 0.05 * rng.normal(size=4000))[None, :]
    found = compare(first, second, (0, 0), 5)
    test = stats.ttest_rel(second[0] ** 2, first[0] ** 2, alternative="greater")
    assert test.pvalue < 0.2
    assert found.difference == pytest.approx(float(np.mean(second**2 - first**2)))
    assert 1.0 - found.confidence == pytest.approx(5.0 * test.pvalue, rel=0.01)
    assert math.isnan(compare(first, first, (0, 0), 5).confidence)


def test_common_random_numbers_separate_what_independent_ones_do_not():
    """The standard error of the difference of two clocks is smaller than that of independent runs."""
    options = {"clock": {"slow": {"set": {"counter.frequency": "100 kHz"}}, "fast": {}}}
    found = candidates(choice(base=BRAKED, options=options))
    (group,) = groups_of(found)
    a, b = (e.errors for e in evaluate(group, choice(base=BRAKED), Round(6000, 1), keep_errors=True))
    paired = compare(a, b, (2, 2), 1).error
    alone = math.hypot(*(np.std(e[2] ** 2, ddof=1) / math.sqrt(e.shape[1]) for e in (a, b)))
    assert paired < 0.6 * alone


def test_wrong_decisions_are_both_risks_of_jcgm_106_for_normal_errors():
    given = choice({"wrong_decision": "5 %", "process_standard_deviation": "0.3 mm"})
    n = 20_001
    errors = 1e-3 * stats.norm(0.05, 0.1).ppf((np.arange(n) + 0.5) / n)
    found = figures_of(errors[None, :], np.zeros((1, n), np.int64), np.array([0.1]), given.wanted)
    # the error's bias moves the reading: the same as a shift of the acceptance limits by it
    limits = guarded(-0.5, 0.5, 0.1, 0.0)
    limits = type(limits)(-0.5, 0.5, -0.5 - 0.05, 0.5 - 0.05)
    expected = risks(0.0, 0.3, 0.1, limits)
    assert found.wrong[0] == pytest.approx(expected.consumer + expected.producer, rel=1e-4)


def test_capability_and_yield_decide_like_uncertainty():
    sure = choose(choice({"c_gk": 1.33}, options={"clock": CLOCKS}), 300, workers=1)
    assert sure.winner is None  # the chute reads short of the range's longest part by far
    line = choose(
        choice({"c_gk": 1.33}, calibration="line", options={"clock": CLOCKS},
               base={**CHUTE, "formula": {"use": ["fixed-release"]}}), 300, workers=1,
    )  # fmt: skip
    assert line.winner is not None
    assert line.winner.candidate.picks["clock"] == "fast"


def test_calibration_line_takes_out_gain_and_zero_of_a_rig():
    """Delays of the sensor at constant speed are a constant length error v (t_light - t_dark)."""
    base = {
        "part": {"length": "100 mm"},
        "path": {"release_speed": "2 m/s"},
        "gate": {"first": "50 mm", "spacing": "101 mm"},
        "sensor": {"dark_delay": "50 us", "light_delay": "150 us"},
        "counter": {"frequency": "10 MHz"},
        "formula": {"spacing": "100 mm", "use": ["spacing-dwell"]},
    }
    bare, lined = (
        choose(choice(base=base, calibration=how), 300, workers=1).entries[0] for how in ("none", "line")
    )
    # read = (100/101) (L + 0.2 mm)
    assert bare.evaluation.figures.bias[1] == pytest.approx(100 / 101 * 0.1302 - 0.130, abs=1e-6)
    assert lined.evaluation.line == pytest.approx((1.01, -0.2e-3), rel=1e-6)
    assert lined.uncertainty < 1e-6


@pytest.mark.long
def test_a_heat_drops_only_what_is_surely_beaten_and_the_winner_stays():
    """Two clocks by which the counting error differs eightyfold, and a copy that no test can tell apart."""
    options = {"clock": {**CLOCKS, "copy": {**CLOCKS["fast"]}, "dear": {**CLOCKS["slow"], "cost": 20}}}
    options["clock"]["slow"] = {"set": {"counter.frequency": "100 Hz"}, "cost": 1}
    options["clock"]["dear"] = {"set": {"counter.frequency": "100 Hz"}, "cost": 20}
    given = choice({"rms_error": "20 mm"}, BRAKED, options=options)
    full, raced = (choose(given, 12_000, workers=1, race=race) for race in (False, True))
    assert {raced.entries[n].candidate.picks["clock"] for n in raced.dropped} == {"dear"}
    assert full.winner.candidate.name == raced.winner.candidate.name
    kept = [e for e in raced.entries if e.candidate.number not in raced.dropped]
    for entry in kept:
        assert entry.uncertainty == full.entries[entry.candidate.number].uncertainty


@pytest.mark.long
@pytest.mark.parametrize("best_at_its_end", [False, True])
def test_result_does_not_depend_on_the_workers(best_at_its_end):
    ranges = ["sensor.jitter=2 us:40 us:2" if best_at_its_end else "gate.spacing=60 mm:200 mm:2"]
    given = choice(base=BRAKED, options={"sensor": SENSORS, "clock": CLOCKS}, ranges=ranges)
    one, two = (json.dumps(data_of(choose(given, 600, 3, workers))) for workers in (1, 2))
    assert one == two


FILE = """
title = "invented search"
base = "rig.toml"
calibration = "line"
ranges = ["gate.spacing = 60 mm:200 mm:2"]
[wanted]
shortest = "60 mm"
longest = "200 mm"
tolerance = "0.5 mm"
rms_error = "0.2 mm"
[options.clock]
slow = { cost = 1, set = { "counter.frequency" = "1 kHz" } }
fast = { cost = 9, set = { "counter.frequency" = "1 MHz" } }
[options.formula]
plain = { set = { "formula.use" = ["spacing-dwell"] } }
roots = { cost = 1, set = { "formula.use" = ["fixed-release"] } }
"""
RIG = """
# a comment worth keeping
[part]
length = "120 mm"
mass = { value = "200 g", distribution = "normal", standard_uncertainty = "1 g" }
[path]
slope = { value = "30 deg", distribution = "normal", standard_uncertainty = "0.2 deg" }
[gate]
first = { value = "200 mm", distribution = "normal", standard_uncertainty = "0.1 mm" }
spacing = "80 mm"
[counter]
frequency = "10 MHz"
"""


@pytest.fixture
def file(tmp_path):
    (tmp_path / "rig.toml").write_text(RIG)
    path = tmp_path / "choose.toml"
    path.write_text(FILE)
    return path


def invoke(*arguments):
    return CliRunner().invoke(command, [str(a) for a in arguments], standalone_mode=False)


@pytest.mark.long
def test_command_prints_text_json_figure_and_a_winner_that_predicts(file, tmp_path):
    won, figure = tmp_path / "won.toml", tmp_path / "front.png"
    result = invoke(file, "--trials", 1000, "--workers", 1, "-o", won, "--figure", figure)
    assert result.return_value == 0, result.exception
    assert "Winner, the cheapest that meets everything by these estimates: fast, roots" in result.output
    assert figure.stat().st_size > 10_000
    text = won.read_text()
    assert "# a comment worth keeping" in text
    scenario = load(won)
    assert scenario.part.mass.nominal == pytest.approx(0.2 * 130.0 / 120.0)
    assert scenario.part.mass.std == pytest.approx(1e-3)
    prediction = predict(scenario)
    assert prediction.outcome == Outcome.MEASURED.word
    assert abs(prediction.reading().error_m) < 10e-6
    data = json.loads(invoke(file, "--trials", 1000, "--workers", 1, "--json").output)
    assert data["candidates"] == 8
    assert data["finalists"][0]["options"] == {"clock": "fast", "formula": "roots"}


@pytest.mark.long
def test_without_a_winner_the_exit_code_is_1_and_nothing_is_written(file, tmp_path):
    file.write_text(FILE.replace('"0.2 mm"', '"0.001 mm"'))
    result = invoke(file, "--trials", 500, "--workers", 1)
    assert result.return_value == 1
    assert "No candidate meets the requirement" in result.output
    with pytest.raises(InputError, match="no candidate meets"):
        save_winner(choose(load_choice(file), 500, workers=1), tmp_path / "none.toml")


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("tolerance", "tollerance", r"wanted\.tollerance: .* has no key .*, did you mean 'tolerance'"),
        ('shortest = "60 mm"', "", r"wanted\.shortest: given nothing"),
        ('"60 mm"', '"60 kg"', r"wanted\.shortest: given '60 kg' .* expected a length"),
        ('"60 mm"', '"260 mm"', r"wanted\.longest: given '200 mm', expected a length of at least 260 mm"),
        ("cost = 9", "cots = 9", r"options\.clock\.fast\.cots: .* has no key .*, did you mean 'cost'"),
        ("cost = 9", "cost = -9", r"options\.clock\.fast\.cost: given -9"),
        ('"counter.frequency" = "1 M', '"counter.frequncy" = "1 M', r"nearest is counter\.frequency"),
        ("gate.spacing = 60 mm:200 mm:2", "gate.spacing", r"ranges: given 'gate.spacing'"),
        ("rig.toml", "none.toml", r"none\.toml: it cannot be read"),
        ("rms_error =", "wrong_decision = 0.1 #", r"process_standard_deviation: given nothing"),
    ],
)
def test_what_is_wrong_with_a_file_is_said_in_one_sentence(file, old, new, said):
    file.write_text(FILE.replace(old, new, 1))
    with pytest.raises(InputError, match=said) as caught:
        choose(load_choice(file), 100, workers=1)
    assert "\n" not in str(caught.value)


EXAMPLE = Path(__file__).parents[1] / "scenarios" / "choose" / "rungs.toml"


@pytest.mark.long
def test_the_example_spans_rigs_that_all_fit_together_and_run():
    given = load_choice(EXAMPLE)
    found = candidates(given)
    assert all(c.scenario is not None for c in found)
    first = {c.picks["set-up"]: group for group in reversed(groups_of(found)) for c in group[:1]}
    for group in first.values():
        for evaluation in evaluate(group[:4], given, Round(50, 1)):
            assert evaluation.refusal or evaluation.figures is not None


def test_a_plain_value_that_the_spread_of_the_base_does_not_fit_says_whose_spread_it_is():
    base = {**CHUTE, "path": {"slope": "30 deg", "friction": FRICTION}}
    found = candidates(choice(base=base, options={"friction": {"low": {"set": {"path.friction": 0.001}}}}))
    assert "path.friction" in found[0].refusal
    assert "its spread reaches out of range" in found[0].refusal
    assert found[0].refusal.endswith("the spread is that of the base: state the value with one of its own")
    own = {"value": 0.001, "distribution": "rectangular", "half_width": 0.001}
    for value, std in ((0.2, 0.02), (own, 0.001 / math.sqrt(3.0))):
        options = {"friction": {"it": {"set": {"path.friction": value}}}}
        (fits,) = candidates(choice(base=base, options=options))
        assert fits.scenario.path.friction.std == pytest.approx(std)


FRICTION = {"value": 0.24, "distribution": "normal", "standard_uncertainty": 0.02}


@pytest.mark.parametrize(
    ("raw", "expected"),
    [
        ({}, r"wanted: given nothing, expected a table \[wanted\] with at least shortest, longest and"),
        (
            {"wanted": {"shortest": "1 mm"}},
            "wanted.longest: given nothing, expected a length above 0",
        ),
    ],
)
def test_what_a_file_lacks_is_named(raw, expected):
    with pytest.raises(InputError, match=expected):
        choice_of(raw, Path("."))


def test_the_schema_of_the_file_describes_every_key():
    said = CliRunner().invoke(schema_command, ["--choose"], standalone_mode=False)
    schema = json.loads(said.output)
    assert schema["title"] == "gatesim choose"
    for table in (schema, schema["$defs"]["WantedTable"], schema["$defs"]["Alternative"]):
        for key, about in table["properties"].items():
            assert about.get("description"), key
    jsonschema = pytest.importorskip("jsonschema")
    example = Path(__file__).parents[1] / "scenarios" / "choose" / "rungs.toml"
    jsonschema.validate(tomllib.loads(example.read_text()), schema)


def test_figures_of_rigs_with_the_same_errors_are_worked_out_once(monkeypatch):
    """A filter that lets every edge through later leaves every count of a hardware counter as it is."""
    filters = {
        f"{time} ms": {"set": {"filter": {"kind": "stable-for", "time": f"{time} ms"}}}
        for time in (0.5, 2, 4)
    }
    found = candidates(choice(base=BRAKED, options={"filter": filters, "clock": CLOCKS}))
    made = []

    def counted(*given):
        made.append(figures_of(*given))
        return made[-1]

    monkeypatch.setattr("gatesim.studies.choice.evaluate.figures_of", counted)
    (group,) = groups_of(found)
    given = choice(base=BRAKED, options={"filter": filters, "clock": CLOCKS})
    figures = {c.number: e.figures for c, e in zip(group, evaluate(group, given, Round(600, 1)), strict=True)}
    assert len(made) < len(found) == 6
    for candidate in group:
        (alone,) = evaluate([candidate], given, Round(600, 1))
        assert alone.figures.uncertainty == pytest.approx(figures[candidate.number].uncertainty, rel=1e-6)


def test_why_rigs_are_rejected_is_told_of_all_at_once_as_of_each_alone():
    filters = {time: {"set": {"filter": {"kind": "stable-for", "time": time}}} for time in ("1 ms", "90 ms")}
    given = choice(base=BRAKED, options={"filter": filters, "sensor": SENSORS})
    (group,) = groups_of(candidates(given))
    together = evaluate(group, given, Round(60, 1))
    said = [evaluation.refusal for evaluation in together]
    assert [refusal.split(":")[0] for refusal in said].count("part swallowed") == 2
    assert all("with 60 mm" in refusal for refusal in said if refusal)
    assert said == [evaluate([candidate], given, Round(60, 1))[0].refusal for candidate in group]
