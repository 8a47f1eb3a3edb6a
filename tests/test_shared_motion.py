"""Motions that are solved once for many: every rig and every trial gets what it gets alone."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from gatesim.chain import once, pipeline
from gatesim.chain.alike import motion_inputs
from gatesim.chain.readonce import ReadOnce
from gatesim.chain.remembered import Remembered
from gatesim.chain.together import Case, Switched, run_all
from gatesim.ground.draw import Joined, Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.inputfilter import UNFILTERED
from gatesim.motion import Passage, passage
from gatesim.scenario import load
from gatesim.scenario.reader import changed
from gatesim.sensor import switching
from gatesim.studies.draws import Renamed, Swapped, names_drawn
from gatesim.studies.indices import _sets
from gatesim.studies.model import run
from gatesim.studies.rig import RigModel

FOLDER = Path(__file__).parent.parent / "scenarios"
RIGS = ("2-chute-slat", "3-braked-rung", "4-launched-spacer", "5-belt-board", "6-belt-roller")


def rig(name):
    return load(next(FOLDER.glob(f"{name}*.toml")))


def same_bits(one, other):
    for field in fields(Passage):
        if field.name not in ("belt", "node_position", "node_time", "node_speed"):
            np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name))


@pytest.mark.parametrize("name", RIGS)
def test_a_remembered_motion_has_the_bits_of_one_that_is_solved(name):
    scenario, move = rig(name), Remembered()
    draw = Joined((Nominal(2), Streams(1, 0, 40)))
    query = pipeline.motion_query(scenario, draw)
    described = query.rig.part, query.rig.path, query.rig.forces
    first, again, alone = (solve(*described, query.positions) for solve in (move, move, passage))
    same_bits(first, alone)
    same_bits(again, alone)
    times = np.linspace(0.0, np.nanmax(alone.time), 50) * np.ones((draw.trials, 1))
    np.testing.assert_array_equal(first.travel_at(times), alone.travel_at(times))


def test_each_trial_is_solved_once_and_another_position_anew(monkeypatch):
    solved = []

    def counted(part, path, forces, positions):
        solved.append(len(positions))
        return passage(part, path, forces, positions)

    monkeypatch.setattr("gatesim.chain.once.passage", counted)
    scenario, move = rig("3-braked-rung"), Remembered()
    pipeline.run(scenario, Nominal(5), move=move)
    assert solved == [1]
    pipeline.run(scenario, Joined((Nominal(3), Streams(1, 0, 7))), move=move)
    assert solved == [1, 7]
    pipeline.run(scenario, Streams(1, 0, 7), move=move)
    assert solved == [1, 7]
    pipeline.run(scenario, Nominal(1), {"gate.first": scenario.gate.first.nominal + 0.01}, move=move)
    assert solved == [1, 7, 1]


def test_anything_that_moves_the_part_tells_motions_apart():
    scenario = rig("3-braked-rung")
    query = pipeline.motion_query(scenario, Nominal(1))

    def told(**values):
        other = pipeline.motion_query(scenario, Nominal(1), values).rig
        return motion_inputs(other.part, other.path, other.forces).digest

    as_it_is = motion_inputs(query.rig.part, query.rig.path, query.rig.forces).digest
    moving = [name for name in scenario.inputs() if name.split(".")[0] in ("path", "brake")]
    assert len(moving) > 5
    for name in [*moving, "part.length", "part.mass"]:
        value = scenario.inputs()[name].nominal
        assert told(**{name: value}) == told(**{name: value})
        assert told(**{name: value + 1e-3}) != as_it_is, name
    for name in ("gate.first", "sensor.dark_delay@1", "counter.frequency", "part.tilt"):
        if name in scenario.inputs():
            assert told(**{name: scenario.inputs()[name].nominal + 1e-3}) == as_it_is, name


@pytest.mark.parametrize("name", RIGS)
def test_rigs_that_move_alike_read_together_what_each_reads_alone(name, monkeypatch):
    scenario = rig(name)
    others = [
        changed(scenario, "gate.first", f"{1.5 * scenario.gate.first.nominal!r} m"),
        changed(scenario, "counter.timing", {"kind": "polled", "cycle": "1 ms"}),
        changed(scenario, "sensor.beam", {"shape": "slit", "width": "2 mm", "height": "1 mm"}),
        changed(scenario, "path.gravity", "9.7 m/s^2"),
        changed(scenario, "filter", {"kind": "stable-for", "time": "0.3 ms"}),
        scenario.model_copy(update={"filter": UNFILTERED}),  # as it was read, it has a filter
    ]
    draw, solved = Streams(3, 0, 60), []

    def counted(*given):
        solved.append(given)
        return passage(*given)

    monkeypatch.setattr(once, "passage", counted)
    cases = [Case(each, draw, quantised=False, ends=False) for each in (scenario, *others)]
    together = run_all(cases)
    assert sum(len(given[3]) for given in solved) < len(cases) * draw.trials
    for case, found in zip(cases, together, strict=True):
        alone = pipeline.run(case.scenario, draw, quantised=False, ends=False)
        np.testing.assert_array_equal(found.outcome, alone.outcome)
        for formula, readings in alone.readings.items():
            np.testing.assert_allclose(found.readings[formula], readings, rtol=1e-8)


def test_a_part_that_runs_away_past_the_gates_of_one_rig_only_is_told_so_in_the_other():
    """Under a weak brake the part goes on gaining speed: v^2 = 2 a x passes the crest's between the gates."""
    base = changed(rig("2-chute-slat"), "brake", {
        "start": "300 mm", "length": "3 m", "peak_force": "0.1 N", "critical_speed": "3 m/s",
    })  # fmt: skip
    far = changed(base, "gate.first", "2.5 m")
    alone = [Outcome(int(pipeline.run(each, Nominal(1), ends=False).outcome[0])) for each in (base, far)]
    assert alone == [Outcome.MEASURED, Outcome.RUNAWAY]
    both = run_all([Case(each, Nominal(1), ends=False) for each in (base, far)])
    assert [int(each.outcome[0]) for each in both] == alone


@pytest.mark.long
def test_draws_taken_from_a_second_set_share_the_motions_they_do_not_change(monkeypatch):
    model, solved = RigModel(rig("3-braked-rung")), []

    def counted(*given):
        solved.append(given)
        return passage(*given)

    source = Streams(1, 0, 50)
    names = tuple(names_drawn(model))
    monkeypatch.setattr(once, "passage", counted)
    found, errors = _sets(model, "spacing-dwell", source, names)
    assert len(solved) < 0.5 * len(errors)
    assert found == list(names)
    second = Renamed(source, "b:")
    draws = [source, second, *(Swapped(source, second, name) for name in names)]
    alone = [run(model, draw).errors()["spacing-dwell"] for draw in draws]
    np.testing.assert_allclose(errors, alone, atol=1e-12)


@pytest.mark.long
def test_draws_that_turn_up_by_chance_only_are_swapped_all_the_same():
    model = RigModel(rig("3-braked-rung"))
    names = tuple(names_drawn(model))
    all_known = _sets(model, "spacing-dwell", Streams(1, 0, 50), names)
    few_known = _sets(model, "spacing-dwell", Streams(1, 0, 50), names[:3])
    assert all_known[0] == few_known[0]
    np.testing.assert_allclose(all_known[1], few_known[1], atol=1e-12)


def test_what_a_scenario_needs_is_worked_out_anew_for_a_copy_that_differs():
    scenario = rig("3-braked-rung")
    assert "brake.start" in scenario.inputs()
    copied = scenario.model_copy(update={"brake": None})
    assert not [name for name in (*copied.inputs(), *copied.quantities()) if name.startswith("brake.")]
    assert rig("3-braked-rung") == scenario  # what was worked out is no part of it


def test_sensors_known_from_rigs_run_before_are_not_worked_out_again(monkeypatch):
    """Rigs that differ in their gates' distance, one run after the other; every bit as without memory."""
    asked = []

    def counted(*described):
        asked.append(described)
        return switching(*described)

    monkeypatch.setattr("gatesim.chain.together.switching", counted)
    base, known, draw = rig("2-chute-slat"), Switched(ReadOnce()), Streams(1, 0, 50)
    for spacing in ("60 mm", "75 mm", "90 mm"):
        case = Case(changed(base, "gate.spacing", spacing), draw, ends=False)
        (alone,), before = run_all([case]), len(asked)
        (again,) = run_all([case], known)
        assert (len(asked) > before) == (spacing == "60 mm")
        assert alone.counted.cycles.capture.tobytes() == again.counted.cycles.capture.tobytes()


def test_rigs_that_differ_past_their_sensors_are_put_together_once_and_read_what_each_reads_alone(
    monkeypatch,
):
    scenario = rig("3-braked-rung")
    spread = {"value": "0.3 ms", "distribution": "normal", "standard_uncertainty": "20 us"}
    frequency = {"value": "40 kHz", "distribution": "rectangular", "half_width": "100 Hz"}
    past = [
        changed(scenario, "filter", {"kind": "stable-for", "time": spread}),
        changed(scenario, "filter", {"kind": "hold-off", "time": "1 ms"}),
        changed(scenario, "counter.frequency", frequency),
        changed(scenario, "counter.timing", {"kind": "polled", "cycle": "1 ms"}),
        changed(scenario, "formula.use", ["four-edge"]),
        scenario.model_copy(update={"filter": UNFILTERED}),
    ]
    gate = scenario.gate.model_copy(update={"first": scenario.gate.spacing})
    others = [changed(scenario, "sensor.jitter", "40 us"), scenario.model_copy(update={"gate": gate})]
    given = {"filter.time": np.linspace(1e-4, 5e-4, 60), "counter.frequency": 30e3}
    draw, asked = Streams(3, 0, 60), []

    def counted(*described, **more):
        asked.append(described)
        return pipeline.motion_query(*described, **more)

    monkeypatch.setattr("gatesim.chain.together.motion_query", counted)
    cases = [Case(each, draw, ends=False) for each in (scenario, *past, *others)]
    cases.append(Case(past[0], draw, given, ends=False))
    together = run_all(cases)
    assert len(asked) == 1 + len(others)
    for case, measured in zip(cases, together, strict=True):
        alone = pipeline.run(case.scenario, draw, case.values, ends=False)
        assert measured.readings.keys() == alone.readings.keys()
        for name, reading in alone.readings.items():
            np.testing.assert_allclose(measured.readings[name], reading, rtol=1e-9)
        np.testing.assert_array_equal(measured.outcome, alone.outcome)
        for mine, own in zip(measured.filtered, alone.filtered, strict=True):
            np.testing.assert_allclose(mine, own, rtol=1e-9)
