"""What the bench computes for its page: the numbers of the commands, and no motion solved twice.

Compared bit for bit with the front door, whose functions are the commands; the rigs check nothing else.
"""

from importlib import import_module
from pathlib import Path

import pytest

from gatesim import predict, study
from gatesim.api.answers import Answers
from gatesim.chain import controller
from gatesim.explanation import breakdown
from gatesim.scenario import load
from gatesim.studies.block import run_blocks
from gatesim.studies.draws import assign_dimensions, names_drawn
from gatesim.studies.model import layout_of
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import InThisProcess
from gatesim.view.bench.desk import FIRST_LOOK
from gatesim.view.reporttables import waterfall_bars

FOLDER = Path(__file__).parent.parent / "scenarios"
answers = Answers()
QUICK = ("2-chute-slat", "6-belt-roller")
every_rig = pytest.mark.parametrize(
    "name", [pytest.param(f.stem, marks=() if f.stem in QUICK else pytest.mark.long)
             for f in sorted(FOLDER.glob("*.toml"))],
)  # fmt: skip


@every_rig
def test_the_page_is_told_the_numbers_of_predict_explain_and_study(name):
    scenario = load(FOLDER / f"{name}.toml")
    read, passed = answers.reading(scenario)
    told = {**read["prediction"], **answers.along(scenario, passed)["figures"]}
    assert told == predict(scenario).data()
    assert answers.why(scenario, passed)["bars"] == waterfall_bars(breakdown(scenario))
    shown = answers.distribution(scenario, passed, FIRST_LOOK, InThisProcess())["study"]
    assert shown == study(scenario, trials=FIRST_LOOK, sobol=True).data()


@every_rig
def test_blocks_worked_on_together_have_the_bits_of_each_alone(name):
    scenario = load(FOLDER / f"{name}.toml")
    model, plan = RigModel(scenario), Plan(FIRST_LOOK, quasi=True)
    layout = layout_of(model)
    dimensions = assign_dimensions(names_drawn(model, layout), each=layout.each)
    together = run_blocks(model, plan, dimensions, True, [0, 1, 2])
    for index, block in enumerate(together):
        (alone,) = run_blocks(model, plan, dimensions, True, [index])
        assert block.outcomes.tolist() == alone.outcomes.tolist()
        for formula, errors in alone.errors.items():
            assert block.errors[formula].tobytes() == errors.tobytes()
            assert block.levels[formula].calibrated == alone.levels[formula].calibrated
            assert block.trials.readings[formula].tobytes() == alone.trials.readings[formula].tobytes()


@pytest.mark.parametrize(
    "name", ["2-chute-slat", pytest.param("11-slat-between-magnets", marks=pytest.mark.long)]
)
def test_an_answer_takes_one_motion_at_most(name, monkeypatch):
    solved = []
    module = import_module("gatesim.motion.passage")
    chunk = module._chunk
    monkeypatch.setattr(module, "_chunk", lambda *asked: solved.append(1) or chunk(*asked))
    scenario = load(FOLDER / f"{name}.toml")

    def motions(answer, *asked):
        controller.controller_of.cache_clear()  # each is computed by a process of its own
        controller._KEPT.clear()
        solved.clear()
        found = answer(scenario, *asked)
        return found, len(solved)

    (_, passed), count = motions(answers.reading)
    assert count == 1
    assert motions(answers.passage, passed)[1] == 1
    assert motions(answers.why, passed)[1] <= 1
    assert motions(answers.distribution, passed, FIRST_LOOK, InThisProcess())[1] == 1
