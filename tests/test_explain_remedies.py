"""What would change a reading: computed by running the changed rig, ranked by what it takes."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gatesim.chain import pipeline
from gatesim.commands.explain import command
from gatesim.explanation import breakdown
from gatesim.explanation.change import Effort
from gatesim.explanation.proposal import proposals_of
from gatesim.explanation.remedy import remedies
from gatesim.explanation.sentences import advice, cause, facts, headline
from gatesim.ground.draw import Draw, Nominal, Streams
from gatesim.scenario import load, parse_text
from gatesim.scenario.reader import changed, from_raw

FOLDER = Path(__file__).parent.parent / "scenarios"
SCENARIOS = sorted(FOLDER.glob("[1-6]-*.toml"))
CHUTE = FOLDER / "2-chute-slat.toml"

# straight from rest under constant acceleration, nothing else: theory says what each remedy comes to
PLAIN = """
[part]
length = "200 mm"
mass = "0.2 kg"
[path]
slope = "30 deg"
[gate]
first = "300 mm"
spacing = "80 mm"
rearm = "400 mm"
[counter]
frequency = "10 MHz"
"""


class _Anywhere(Draw):
    """Phases drawn, all else at its median."""

    def __init__(self, trials):
        self.trials = trials

    def drawn(self, kind, name, columns=None):
        source = Streams(5, 0, self.trials) if "phase" in name else Nominal(self.trials)
        return source.drawn(kind, name, columns)


def error_of(scenario, formula):
    passed = pipeline.run(scenario, Nominal(1))
    return float((passed.readings[formula] - passed.true_length)[0])


@pytest.fixture(scope="module")
def chute():
    return remedies(load(CHUTE), "spacing-dwell")


def test_what_theory_calls_exact_comes_out_exact():
    # under constant acceleration: -(a/2) T (T - t_s) is 0 where spacing and length are equal; fixed-release,
    # four-edge, three-gates and known-acceleration solve x = v t + a t^2/2
    tried = {r.proposal.title: r for r in remedies(parse_text(PLAIN), "spacing-dwell").tried}
    for title in (
        "gate 2 as far from gate 1 as the part is long, 200 mm",
        "use the formula fixed-release",
        "use the formula four-edge",
        "use the formula three-gates",
        "use the formula known-acceleration",
    ):
        assert abs(tried[title].error) < 2e-6  # some counts of 0.1 us at 2 m/s


def test_a_constant_push_does_not_depend_on_the_slope():
    # released from rest, the acceleration cancels in s T/t_s: only the distances count
    found = remedies(parse_text(PLAIN), "spacing-dwell")
    tried = {r.proposal.title: r for r in found.tried}
    for title in ("path steeper by 5 deg", "path shallower by 5 deg"):
        assert tried[title].error == pytest.approx(found.now.error, abs=2e-6)


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[:3:2], ids=lambda f: f.stem)
def test_each_new_error_is_that_of_the_changed_scenario_read_anew(file):
    scenario = load(file)
    formula = next(iter(pipeline.run(scenario, Nominal(1)).readings))
    found = remedies(scenario, formula)
    assert found.now.error == error_of(scenario, formula)
    assert found.tried
    for remedy in found.tried:
        again = from_raw(remedy.proposal.scenario.raw, "again")
        if not remedy.proposal.calibrated:  # of those, what many rigs come to is told
            assert remedy.error == error_of(again, remedy.proposal.formula) or np.isnan(remedy.error)


@pytest.mark.long
def test_remedies_are_ranked_by_what_they_take(chute):
    order = [(r.effort, r.reach) for r in chute.tried]
    assert order == sorted(order)
    assert {r.effort for r in chute.tried} == set(Effort)


@pytest.mark.long
def test_the_cheapest_is_enough_and_nothing_cheaper_is(chute):
    assert chute.cheapest is not None
    assert chute.cheapest.enough
    assert not chute.now.enough
    before = chute.tried[: chute.tried.index(chute.cheapest)]
    assert not any(r.enough for r in before)
    # the scenario's limits are 1 mm to either side
    assert chute.wanted == pytest.approx(1e-3)


UNEVEN = {"value": "240 mm", "distribution": "rectangular", "half_width": "3 mm"}


@pytest.mark.long
def test_where_one_change_is_not_enough_two_are_tried():
    slow = changed(load(CHUTE), "counter.timing", {"kind": "polled", "cycle": "20 ms"})
    # parts of one length would all be read alike, and right, over a spacing of that length
    slow = changed(slow, "part.length", UNEVEN)
    found = remedies(slow, "spacing-dwell")
    pairs = [r for r in found.tried if ", and " in r.proposal.title]
    single = [r for r in found.tried if r not in pairs]
    assert not any(r.enough for r in single)
    assert found.cheapest in pairs
    assert found.cheapest.error == error_of(found.cheapest.proposal.scenario, found.cheapest.proposal.formula)


def test_a_calibration_line_reads_its_reference_parts_right():
    scenario = load(CHUTE)
    (line,) = (p for p in proposals_of(scenario, "spacing-dwell") if p.title.startswith("calibration"))
    for length in ("216 mm", "264 mm"):
        passed = pipeline.run(changed(line.scenario, "part.length", length), Nominal(1), quantised=False)
        assert passed.readings["spacing-dwell"][0] == pytest.approx(passed.true_length[0], abs=1e-9)


def test_a_change_that_stops_the_part_says_so():
    text = PLAIN.replace('slope = "30 deg"', 'slope = "15 deg"\nfriction = 0.2')
    (flat,) = (
        r for r in remedies(parse_text(text), "spacing-dwell").tried if "shallower" in r.proposal.title
    )
    assert flat.outcome.word == "stopped"
    assert np.isnan(flat.error)
    assert flat.lost == 1.0


def test_no_brake_is_proposed_where_friction_slows_the_part():
    text = PLAIN.replace('slope = "30 deg"', 'slope = "10 deg"\nfriction = 0.3\nrelease_speed = "2.5 m/s"')
    titles = {r.proposal.title for r in remedies(parse_text(text), "spacing-dwell").tried}
    assert "clock ten times as fast" in titles
    assert not any("brake" in title for title in titles)


def test_words_carry_the_numbers_of_the_rig(chute):
    scenario = load(CHUTE)
    passed = pipeline.run(scenario, Nominal(1))
    found, about = breakdown(scenario), facts(scenario, passed)
    gain = passed.motion.speed[0, passed.rear[0]] - passed.motion.speed[0, passed.front[0]]
    assert f"gains {gain:.2g} m/s" in cause(found, about)
    assert "first 50 mm" in cause(found, about)
    assert "short" in headline(found)
    assert chute.cheapest.proposal.title in advice(chute)


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[1::2], ids=lambda f: f.stem)
def test_the_command_prints_parts_that_sum(file):
    done = CliRunner().invoke(command, [str(file), "--json"])
    assert done.exit_code == 0, done.output
    found = json.loads(done.stdout)
    assert sum(part["error_m"] for part in found["parts"]) == pytest.approx(
        found["error_m"], rel=0, abs=1e-12
    )
    assert found["reason"]
    assert all("nan" not in text.lower() for text in (found["headline"], found["reason"], found["advice"]))


@pytest.mark.long
def test_the_command_draws_and_prints(tmp_path):
    target = tmp_path / "waterfall.svg"
    done = CliRunner().invoke(command, [str(CHUTE), "--figure", str(target)])
    assert done.exit_code == 0, done.output
    assert "software only" in done.stdout
    assert target.read_text(encoding="utf-8").lstrip().startswith("<?xml")


def test_sensors_ten_times_as_fast_scatter_a_tenth_as_much():
    old = load(FOLDER / "1-drop-dowel.toml")
    (new,) = [p for p in proposals_of(old, "spacing-dwell") if p.title == "sensors ten times as fast"]
    for key in ("dark_delay", "light_delay"):
        before, after = getattr(old.sensor, key), getattr(new.scenario.sensor, key)
        assert after.nominal == pytest.approx(0.1 * before.nominal)
        assert after.std == pytest.approx(0.1 * before.std)


def test_ninety_five_of_a_hundred_parts_are_read_within_what_is_said():
    # parts drawn anew, with other random numbers
    slow = changed(load(CHUTE), "counter.timing", {"kind": "polled", "cycle": "8 ms"})
    now = remedies(slow, "spacing-dwell", []).now
    passed = pipeline.run(slow, Streams(77, 0, 20_000))
    off = np.abs(passed.readings["spacing-dwell"] - passed.true_length)
    assert np.mean(off <= now.reach) == pytest.approx(0.95, abs=0.02)


@pytest.mark.long
def test_no_change_is_tried_on_top_of_itself_or_taken_back():
    slow = changed(load(CHUTE), "counter.timing", {"kind": "polled", "cycle": "20 ms"})
    found = remedies(changed(slow, "part.length", UNEVEN), "spacing-dwell")
    pairs = [r.proposal.title.split(", and ") for r in found.tried if ", and " in r.proposal.title]
    assert pairs
    assert all(first != second for first, second in pairs)
    assert not any("steeper" in first and "shallower" in second for first, second in pairs)


@pytest.mark.long
def test_a_calibration_line_of_a_rig_that_samples_is_that_of_mean_readings():
    # mean readings of two parts, simulated here over all phases of the samples, and the line through them
    slow = changed(load(CHUTE), "filter", {"kind": "majority", "period": "2 ms", "samples": 3, "needed": 2})
    (line,) = (p for p in proposals_of(slow, "spacing-dwell") if p.title.startswith("calibration"))
    for length in ("216 mm", "264 mm"):
        passed = pipeline.run(changed(line.scenario, "part.length", length), _Anywhere(400_000))
        off = passed.readings["spacing-dwell"] - passed.true_length
        # at the mean delay, or at the median phase, it would be off by 0.24 mm and more
        assert float(np.mean(off)) == pytest.approx(0.0, abs=5.0 * float(np.std(off)) / 400_000**0.5)
        assert 5.0 * float(np.std(off)) / 400_000**0.5 < 1e-4


def test_a_calibration_is_not_proposed_on_top_of_a_calibration():
    # of parts fed too close a line alone makes nothing that would do, so that others are tried on top of it
    scenario = load(FOLDER / "10-train-too-close.toml")
    line = [each for each in proposals_of(scenario, "spacing-dwell") if each.calibrated]
    titles = [each.change.lower() for each in remedies(scenario, "spacing-dwell", line).tried]
    assert any(title.startswith("calibration line") and ", and " in title for title in titles)
    assert [title for title in titles if title.count("calibration line") > 1] == []


def test_parts_fed_too_close_are_read_once_the_rearming_gate_is_between_part_and_next_part():
    # kinematics: the next part's leading end is v T behind; the dwell is latched L after gate 1 was darkened
    scenario = load(FOLDER / "10-train-too-close.toml")
    tried = remedies(scenario, "spacing-dwell")
    assert tried.cheapest is not None
    assert tried.cheapest.change.startswith("the re-arming gate nearer")
    nearer = tried.cheapest.proposal.scenario
    length, behind = 0.120, 0.8 * 0.21
    assert length < nearer.gate.rearm.nominal < behind
    reading = pipeline.run(nearer, Nominal(1)).readings["spacing-dwell"][0]
    # the delays add v (95 - 80) us; a count is worth v/f = 8 um of travel, three of them a few more
    assert reading == pytest.approx(length + 0.8 * 15e-6, abs=3 * 0.8 / 100e3)
    slower = changed(scenario, "follower.interval", "0.45 s")  # behind by more than the gate's 320 mm
    assert "nearer" not in " ".join(each.title for each in proposals_of(slower, "spacing-dwell"))
