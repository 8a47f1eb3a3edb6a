"""Fates of single parts, state carried from part to part, and output of feed studies."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gatesim.commands.feed import command
from gatesim.ground.data import data_of
from gatesim.ground.draw import Streams
from gatesim.ground.errors import InputError
from gatesim.motion import passage
from gatesim.scenario import load
from gatesim.studies.feed.fate import ELEMENTS, Fate, fates, registers_used
from gatesim.studies.feed.feed import Feeding, feed, feed_with, nominal_busy_time, without_follower
from gatesim.studies.feed.process import latest, process
from gatesim.studies.feed.streams import ready
from gatesim.studies.feed.supply import Crossings, PartDraws, Parts, Supply, spacing_of
from gatesim.studies.feed.undisturbed import undisturbed
from tests.test_feed_renewal import rig, shares


def judged(scenario, arrivals, lengths=None):
    """Fates of parts that reach gate 1 at these times, at 1 m/s past gates 50 mm apart."""
    arrivals = np.asarray(arrivals, float)
    lengths = np.full(arrivals.shape, 0.1) if lengths is None else np.asarray(lengths, float)
    gates = [0.0, 0.05] if scenario.gate.rearm is None else [0.0, 0.05, scenario.gate.rearm.nominal]
    crossings = Crossings(
        tuple(np.stack([arrivals + x, arrivals + x + lengths], axis=1)[None] for x in gates)
    )
    found = fates(scenario, crossings, process(scenario, crossings, Streams(1, 0, 1)))
    words = [Fate(code).word for code in found.fate[0]]
    return words, [ELEMENTS[e] if e >= 0 else "" for e in found.element[0]]


def test_parts_far_apart_are_all_read():
    assert judged(rig(), [0.0, 0.2, 0.4])[0] == ["correct"] * 3


def test_overlapping_parts_are_merged_by_the_beam_and_leave_the_next_alone():
    words, elements = judged(rig(), [0.0, 0.08, 0.5])
    assert words == ["merged", "merged", "correct"]
    assert elements == ["beam", "beam", ""]


def test_a_gap_shorter_than_the_filter_is_swallowed():
    words, elements = judged(rig(filter={"kind": "stable-for", "time": "20 ms"}), [0.0, 0.115, 0.5])
    assert words == ["merged", "merged", "correct"]
    assert elements == ["input filter", "input filter", ""]


def test_a_part_before_re_arming_is_missed_and_spoils_the_reading_of_the_one_in_front():
    words, elements = judged(rig(), [0.0, 0.13, 0.6])
    assert words == ["mixed up", "missed", "correct"]
    assert elements == ["re-arming", "re-arming", ""]


def test_a_missed_part_re_arms_the_cycle_of_the_part_behind_it():
    """Gate 3 at 400 mm: the second part comes 0.35 s after the first, too soon for it (re-armed at 0.4 s);
    the third starts a cycle at 0.70 s, which the second ends at 0.75 s, before its dwell is over."""
    words, _ = judged(rig(gate={"rearm": "400 mm"}), [0.0, 0.35, 0.70, 1.5])
    assert words == ["correct", "missed", "missed", "correct"]


def test_a_short_part_is_swallowed_and_not_merged():
    scenario = rig(filter={"kind": "stable-for", "time": "20 ms"})
    words, elements = judged(scenario, [0.0, 0.3, 0.6], [0.1, 0.015, 0.1])
    assert words == ["correct", "missed", "correct"]
    assert elements[1] == "input filter"


def test_lengths_below_what_the_filter_passes_are_missed_in_their_share():
    """Lengths uniform from 61 to 141 mm at 1 m/s and 100 ms: 39 of 80 are swallowed."""
    length = {"value": "101 mm", "distribution": "rectangular", "half_width": "40 mm"}
    scenario = rig(part={"length": length}, filter={"kind": "stable-for", "time": "100 ms"})
    ((share, error),) = shares(scenario, "fixed", [0.5])
    assert share[Fate.MISSED] == pytest.approx(39 / 80, abs=4.5 * error[Fate.MISSED])
    assert share[Fate.CORRECT] == pytest.approx(41 / 80, abs=4.5 * error[Fate.CORRECT])


def test_an_opening_splits_every_part_unless_the_filter_bridges_it():
    part = {"openings": [{"kind": "notch", "start": "40 mm", "length": "10 mm"}]}
    for time, fate in (("2 ms", Fate.SPLIT), ("15 ms", Fate.CORRECT)):
        scenario = rig(part=part, filter={"kind": "stable-for", "time": time})
        draws = PartDraws(1, 0, 2, 20)
        crossings = Supply.of(Parts.of(scenario, draws), spacing_of("fixed", 0.0)).at(2.0)
        found = fates(scenario, crossings, process(scenario, crossings, draws.rig))
        assert (found.fate == fate).all()
        assert (found.element == (ELEMENTS.index("debouncing") if fate == Fate.SPLIT else -1)).all()


def test_what_belongs_to_the_rig_lasts_for_a_stream_and_what_belongs_to_the_part_does_not():
    draws = PartDraws(3, 0, 4, 6)
    gate, length = draws.normal("gate.first").reshape(4, 6), draws.normal("part.length").reshape(4, 6)
    assert (np.ptp(gate, axis=1) == 0.0).all()
    assert (np.ptp(length, axis=1) > 0.0).all()
    assert np.ptp(gate[:, 0]) > 0.0


def test_latest_mark_agrees_with_a_plain_search():
    rng = np.random.default_rng(2)
    marks, times = rng.integers(0, 40, (5, 9)).astype(float), rng.integers(-2, 45, (5, 12)).astype(float)
    marks[0, 3], times[1, 2], times[2, 5] = np.inf, np.nan, np.inf
    found = latest(marks, times, 0.5)
    for row in range(5):
        for column, t in enumerate(times[row]):
            before = [m for m in marks[row] if m <= t + 0.5] if math.isfinite(t) else []
            if before:
                assert marks[row, found[row, column]] == max(before)
            else:
                assert found[row, column] == -1


@pytest.mark.parametrize("pattern", ["fixed", "uniform", "normal", "exponential"])
def test_gaps_have_the_mean_and_the_scatter_they_are_given(pattern):
    gaps = spacing_of(pattern, 0.3).gaps(Streams(1, 0, 400), 100)
    scatter = {"fixed": 0.0, "exponential": 1.0}.get(pattern, 0.3)
    assert gaps.mean() == pytest.approx(1.0, abs=4.5 * scatter / 200.0 + 1e-12)
    assert gaps.std() == pytest.approx(scatter, abs=0.03)
    assert (gaps >= 0.0).all()


def test_belt_ripple_is_met_where_it_is_when_the_part_comes():
    """Part j released after j whole periods of the ripple moves like the first; after half, not."""
    scenario = rig(
        path={"release_speed": "0 m/s"},
        belt={"speed": "1 m/s", "friction": 0.5, "ripple": "5 %", "ripple_frequency": "4 Hz"},
        gate={"first": "300 mm"},
    )
    supply = Supply.of(Parts.of(scenario, PartDraws(1, 0, 1, 4)), spacing_of("fixed", 0.0))
    for rate, same in ((1.0, True), (8.0 / 3.0, False)):
        starts = supply.at(rate).starts(0)[0]
        assert bool(np.allclose(np.diff(starts), 1.0 / rate, atol=1e-9)) is same


def test_the_motion_of_parts_that_move_alike_whenever_they_come_is_solved_once(monkeypatch):
    solved = []

    def counted(*asked):
        solved.append(len(asked[-1]))
        return passage(*asked)

    monkeypatch.setattr("gatesim.studies.feed.supply.passage", counted)
    feedings = [Feeding(spacing_of(gaps, 0.0), 0.99, 200) for gaps in ("fixed", "exponential")]
    fixed, exponential = feed_with(rig(), feedings, [[1.0, 8.0], [0.1, 1.0]], workers=1)
    assert solved == [2 * 115]
    alone = feed(rig(), feedings[1], [0.1, 1.0], workers=1)
    assert data_of(alone) == data_of(exponential) != data_of(fixed)


@pytest.mark.long
def test_a_follower_of_the_scenario_gives_way_to_the_stream():
    scenario = rig(follower={"interval": "20 ms"})
    result = feed(scenario, Feeding(spacing_of("fixed", 0.0), 0.99, 200), [2.0, 8.0], workers=1)
    assert result.points[0].shares[Fate.CORRECT] == 1.0


@pytest.mark.long
def test_result_does_not_depend_on_the_workers():
    feeding = Feeding(spacing_of("exponential", 0.0), 0.9, 10_500, 4)
    scenario = rig(sensor={"jitter": "1 ms"})
    one, two = (data_of(feed(scenario, feeding, [0.3], workers)) for workers in (1, 2))
    assert one == two


def test_a_part_that_is_not_measured_alone_is_refused():
    with pytest.raises(InputError, match="not measured even if it comes alone"):
        feed(rig(filter={"kind": "stable-for", "time": "1 s"}), Feeding(spacing_of("fixed", 0.0)))


@pytest.mark.long
def test_command_prints_text_json_and_figure(tmp_path):
    file, figure = tmp_path / "rig.toml", tmp_path / "feed.png"
    file.write_text(
        '[part]\nlength = "100 mm"\n[path]\nrelease_speed = "1 m/s"\n'
        '[gate]\nfirst = "10 mm"\nspacing = "50 mm"\n[counter]\nfrequency = "100 kHz"\n'
    )
    arguments = [str(file), "--parts", "400", "--gaps", "fixed", "--workers", "1", "--figure", str(figure)]
    text = CliRunner().invoke(command, arguments, standalone_mode=False)
    assert text.exception is None
    said = " ".join(text.output.split())
    assert re.search(
        r"yield of at least 99.0 %, at even gaps[^:]*: (399|400)", said
    )  # 60/0.15 s = 400 a minute
    assert all(f"{fate.word}: {fate.meaning}" in said for fate in Fate)
    assert "re-arming" in text.output
    assert figure.stat().st_size > 10_000
    data = json.loads(CliRunner().invoke(command, [*arguments, "--json"], standalone_mode=False).output)
    assert data["limit"] == pytest.approx(1.0 / 0.15, rel=2e-3)
    even, random = data["beside"]
    assert (even["gaps"], even["limit"]) == ("fixed", data["limit"])
    # at random gaps 1 % of the parts, or half as many, have a neighbour within 0.15 s before or behind
    assert random["gaps"] == "exponential"
    low, high = random["limit_interval"]
    assert low < random["limit"] < high
    assert low < 0.01 / 0.15
    assert high > 0.005 / 0.15
    with pytest.raises(InputError, match="--rates: given '5'"):
        raise CliRunner().invoke(command, [*arguments, "--rates", "5"], standalone_mode=False).exception


EXAMPLES = sorted((Path(__file__).parents[1] / "scenarios").glob("[1-6]-*.toml"))


@pytest.mark.parametrize("file", EXAMPLES, ids=lambda path: path.stem)
def test_parts_of_every_example_are_read_when_they_come_slowly(file):
    (point,) = feed(load(file), Feeding(spacing_of("fixed", 0.0), 0.9, 200), [0.02], workers=1).points
    assert point.shares[Fate.CORRECT] > 0.9


@pytest.mark.parametrize("file", ["3-braked-rung", "6-belt-roller", "8b-chatter-hold-off", "9b-slat-polled"])
def test_streams_told_apart_at_a_glance_are_judged_as_the_others_are(file, monkeypatch):
    """All streams go the long way, where nothing is said to be undisturbed: the same fates and elements."""
    scenario = without_follower(load(Path(__file__).parents[1] / "scenarios" / f"{file}.toml"))
    draws = PartDraws(5, 0, 40, 20)
    supply = Supply.of(Parts.of(scenario, draws), spacing_of("exponential", 0.0))
    busy = nominal_busy_time(scenario)
    shares = []
    for load_ in (0.001, 0.01, 0.1, 1.0):
        crossings = supply.at(load_ / busy)
        processed = process(scenario, crossings, draws.rig)
        shares.append(undisturbed(crossings, processed, registers_used(scenario)).mean())
        found = fates(scenario, crossings, processed)
        with monkeypatch.context() as patch:
            patch.setattr("gatesim.studies.feed.fate.undisturbed", lambda *_: np.zeros(40, bool))
            plain = fates(scenario, crossings, processed)
        assert np.array_equal(found.fate, plain.fate)
        assert np.array_equal(found.element, plain.element)
    assert shares[-1] == 0.0
    if "chatter" not in file:
        assert shares[0] > 0.8


def test_parts_whose_motion_is_fitted_come_when_the_equation_of_motion_says():
    """A magnet in a tube, dear enough to be fitted for 200 streams: the same light to 2e-9 of the passage."""
    scenario = load(Path(__file__).parents[1] / "scenarios" / "12-magnet-in-tube.toml")
    rig, few = ready(scenario, 200), PartDraws(2, 0, 2, 40)
    assert rig.surface is not None
    assert ready(scenario, 2).surface is None
    fitted, plain = (Parts.of(scenario, few, move).alone.gates for move in (rig.surface, None))
    lasting = np.max(plain[-1]) - np.min(plain[0])
    for mine, own in zip(fitted, plain, strict=True):
        assert not np.array_equal(mine, own)
        assert np.allclose(mine, own, rtol=0.0, atol=2e-9 * lasting)
