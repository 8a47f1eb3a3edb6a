"""Trials that move alike one after another are solved once, and have the bits that they have when solved."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from gatesim.chain import once, pipeline
from gatesim.ground.draw import Streams
from gatesim.motion import Passage, passage
from gatesim.scenario import load
from gatesim.studies.model import layout_of, levels_of, sample
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel

FOLDER = Path(__file__).parent.parent / "scenarios"
RIGS = (
    "1-drop-dowel",
    "3-braked-rung",
    "4-launched-spacer",
    "5-belt-board",
    "6-belt-roller",
    "9b-slat-polled",
)


def asked(name, trials=203):
    """What a study asks of the motion, reference passages and a cut-short last rig included."""
    model = RigModel(load(FOLDER / f"{name}.toml"))
    draw = Plan(trials).draw(0, {}, layout_of(model), levels_of(model), calibrated=True)
    query = pipeline.motion_query(model.scenario, draw, sample(model, draw), ends=False)
    return query.rig.part, query.rig.path, query.rig.forces, query.positions


@pytest.mark.parametrize("name", RIGS)
def test_solved_once_or_one_by_one_has_the_same_bits(name):
    described = asked(name)
    found, alone = once.once(*described), passage(*described)
    for field in fields(Passage):
        if field.name != "belt":
            np.testing.assert_array_equal(getattr(found, field.name), getattr(alone, field.name))
    times = np.linspace(0.0, np.nanmax(alone.time), 50) * np.ones((len(alone.time), 1))
    np.testing.assert_array_equal(found.travel_at(times), alone.travel_at(times))


@pytest.mark.parametrize(
    ("name", "most"), [("3-braked-rung", 0.5), ("9b-slat-polled", 0.5), ("4-launched-spacer", 1.0)]
)
def test_two_passages_of_a_part_are_one_motion_unless_a_passage_has_its_own(name, most, monkeypatch):
    solved = []

    def counted(part, path, forces, positions):
        solved.append(len(positions))
        return passage(part, path, forces, positions)

    monkeypatch.setattr(once, "passage", counted)
    described = asked(name)
    once.once(*described)
    assert sum(solved) <= most * len(described[-1]) + 1
    if most == 1.0:  # every launch has a stretch of its own
        assert solved == [len(described[-1])]


def test_what_is_not_asked_for_is_like_itself_and_no_trial_is_taken_for_another():
    rig = RigModel(load(FOLDER / "3-braked-rung.toml"))
    query = pipeline.motion_query(rig.scenario, Streams(1, 0, 6))
    positions = query.positions.copy()
    positions[:, 1] = np.nan
    positions[3:, 0] += 1e-12
    for rows in ([0, 0, 1, 1, 1, 0], [0, 1, 2, 3, 4, 5], [5, 5, 5, 5, 5, 5], [0, 0, 3, 3, 0, 0]):
        at = positions[rows]
        same = once.once(query.rig.part, query.rig.path, (), at)
        np.testing.assert_array_equal(same.time, passage(query.rig.part, query.rig.path, (), at).time)
