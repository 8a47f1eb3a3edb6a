"""Motions that differ, solved as one batch: each has the bits that it has alone."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

import gatesim
from gatesim.chain import controller, once, pipeline
from gatesim.chain.remembered import Remembered
from gatesim.chain.sidebyside import Question, answered
from gatesim.explanation.proposal import proposals_of
from gatesim.explanation.remedy import _all_tried, remedies
from gatesim.ground.draw import Joined, Nominal, Streams
from gatesim.motion import Passage, passage
from gatesim.scenario import load
from gatesim.scenario.reader import changed

FOLDER = Path(__file__).parent.parent / "scenarios"
FILES = sorted(FOLDER.glob("*.toml"))
CHANGED = (
    "gate.first",
    "path.gravity",
    "path.friction",
    "belt.speed",
    "brake.start",
    "air.density",
    "part.mass",
)


def questions(scenario):
    """The rig as it is, and with a tenth more of one thing at a time."""
    present = [path for path in CHANGED if path in scenario.inputs()]
    for number, path in enumerate([None, *present]):
        values = {} if path is None else {path: 1.1 * scenario.inputs()[path].nominal}
        draw = Joined((Nominal(1), Streams(5, number, 20 + number)))
        query = pipeline.motion_query(scenario, draw, values, ends=number % 2 == 0)
        yield Question(query.rig.part, query.rig.path, query.rig.forces, query.positions)


@pytest.mark.parametrize("file", FILES)
def test_each_motion_of_a_batch_has_the_bits_it_has_alone(file, monkeypatch):
    asked = list(questions(load(file)))
    alone = [passage(q.part, q.path, q.forces, q.positions) for q in asked]
    solved = []

    def counted(*given):
        solved.append(given)
        return passage(*given)

    monkeypatch.setattr(once, "passage", counted)
    for one, other in zip(answered(asked), alone, strict=True):
        for field in fields(Passage):
            if field.name not in ("belt", "node_position", "node_time", "node_speed"):
                np.testing.assert_array_equal(getattr(one, field.name), getattr(other, field.name))
        times = np.linspace(0.0, np.nanmax(other.time), 50) * np.ones((len(other.time), 1))
        np.testing.assert_array_equal(one.travel_at(times), other.travel_at(times))
    assert len(asked) >= 3
    assert len(solved) == 1


def test_motions_of_two_kinds_are_two_batches_and_come_in_their_order():
    asked = [*questions(load(FOLDER / "2-chute-slat.toml")), *questions(load(FOLDER / "3-braked-rung.toml"))]
    mixed = [asked[i] for i in np.random.default_rng(1).permutation(len(asked))]
    for one, question in zip(answered(mixed), mixed, strict=True):
        alone = passage(question.part, question.path, question.forces, question.positions)
        np.testing.assert_array_equal(one.time, alone.time)


@pytest.mark.long
@pytest.mark.parametrize("name", ["2-chute-slat", "3-braked-rung", "5-belt-board"])
def test_remedies_tried_together_are_those_tried_apart(name):
    scenario = load(FOLDER / f"{name}.toml")
    together = remedies(scenario, "spacing-dwell")
    apart = remedies(scenario, "spacing-dwell", each=map)
    assert repr(together.tried) == repr(apart.tried)
    proposals = proposals_of(scenario, "spacing-dwell")
    single = [_all_tried([one], None)[0] for one in proposals]
    for one, other in zip(single, _all_tried(proposals, None), strict=True):
        np.testing.assert_allclose(
            [one.error, one.spread, one.reach], [other.error, other.spread, other.reach], rtol=1e-7
        )


def test_what_controllers_hold_is_worked_out_with_one_motion(monkeypatch):
    solved = []

    def counted(*given):
        solved.append(given)
        return passage(*given)

    base = load(FOLDER / "3-braked-rung.toml")
    rigs = [changed(base, "path.gravity", f"9.{digits} m/s^2") for digits in (811, 812, 813, 814)]
    monkeypatch.setattr(once, "passage", counted)
    controller.held_together(rigs)
    held = [controller.uncalibrated(rig).acceleration for rig in rigs]
    assert len(solved) == 1
    assert len(set(held)) == len(held)
    for rig, acceleration in zip(rigs, held, strict=True):
        found = pipeline.run(rig, Nominal(1))
        ends = [found.front[0], found.rear[0]]
        time, speed = found.motion.time[0, ends], found.motion.speed[0, ends]
        assert acceleration == pytest.approx((speed[1] - speed[0]) / (time[1] - time[0]), rel=1e-7)


def test_what_is_expected_is_solved_along_with_what_is_asked_first(monkeypatch):
    solved = []

    def counted(*given):
        solved.append(len(given[3]))
        return passage(*given)

    asked = list(questions(load(FOLDER / "3-braked-rung.toml")))
    monkeypatch.setattr(once, "passage", counted)
    move = Remembered()
    for question in asked[1:]:
        move.expect(question)
    for question in asked:
        described = question.part, question.path, question.forces, question.positions
        found, alone = move(*described), passage(*described)
        for field in fields(Passage):
            if field.name not in ("belt", "node_position", "node_time", "node_speed"):
                np.testing.assert_array_equal(getattr(found, field.name), getattr(alone, field.name))
    assert solved == [sum(len(question.positions) for question in asked)]


def test_what_cannot_be_computed_and_may_never_be_asked_for_stops_nothing(monkeypatch):
    first, *others = questions(load(FOLDER / "2-chute-slat.toml"))

    def refusing(part, path, forces, positions):
        if len(positions) > len(first.positions):
            raise ArithmeticError("a span that takes too many steps")
        return passage(part, path, forces, positions)

    monkeypatch.setattr(once, "passage", refusing)
    move = Remembered()
    for question in others:
        move.expect(question)
    found = move(first.part, first.path, first.forces, first.positions)
    assert np.isfinite(found.time).all()
    with pytest.raises(ArithmeticError):
        move(others[-1].part, others[-1].path, others[-1].forces, others[-1].positions)


@pytest.mark.parametrize("name", ["2-chute-slat", "3-braked-rung"])
def test_an_explanation_takes_few_motions(name, monkeypatch):
    solved = []

    def counted(*given):
        solved.append(len(given[3]))
        return passage(*given)

    monkeypatch.setattr(once, "passage", counted)
    gatesim.explain(load(FOLDER / f"{name}.toml"))
    assert len(solved) <= 8
