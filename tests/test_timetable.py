"""When one part is at many positions."""

import numpy as np
import pytest
from scipy.constants import g

from gatesim.chain import pipeline
from gatesim.chain.timetable import timetable
from gatesim.ground.draw import Nominal
from gatesim.motion import passage
from gatesim.scenario import load
from gatesim.scenario.reader import changed

from .test_trace import FOLDER


def rig_of(name):
    scenario = load(FOLDER / f"{name}.toml")
    return pipeline.run(scenario, Nominal(1)).rig


def test_a_body_falls_by_the_square_of_time_wherever_it_is_asked_for():
    # x = g t^2/2, v = g t; no air, no friction
    rig = pipeline.run(load(FOLDER / "1-drop-dowel.toml").model_copy(update={"air": None}), Nominal(1)).rig
    positions = np.random.default_rng(1).permutation(np.linspace(0.0, 1.5, 37))
    found = timetable(rig, positions)
    np.testing.assert_allclose(found.time, np.sqrt(2 * positions / g), rtol=1e-12, atol=1e-12)
    np.testing.assert_allclose(found.speed, np.sqrt(2 * g * positions), rtol=1e-12, atol=1e-12)
    assert np.isnan([found.stop_time, found.stop_position]).all()


@pytest.mark.parametrize("name", ["3-braked-rung", "5-belt-board", "4-launched-spacer"])
def test_many_positions_in_one_go_are_those_of_one_motion(name):
    rig = rig_of(name)
    positions = np.linspace(0.001, 0.6, 61)
    one = passage(rig.part, rig.path, rig.forces, positions[None, :])
    found = timetable(rig, positions)
    np.testing.assert_allclose(found.time, one.time[0], rtol=1e-9)
    np.testing.assert_allclose(found.speed, one.speed[0], rtol=1e-8)


def test_where_a_part_stops_it_comes_no_further():
    # friction alone: v^2 = v0^2 - 2 mu g x, so that x = v0^2/(2 mu g) and t = v0/(mu g) at rest
    scenario = load(FOLDER / "2-chute-slat.toml")
    level = changed(changed(scenario, "path.slope", "0 deg"), "path.release_speed", "1 m/s")
    level = changed(level, "path.friction", 0.4)
    rig = pipeline.run(level, Nominal(1)).rig
    end = 1.0 / (2 * 0.4 * g)
    found = timetable(rig, np.linspace(0.0, 2 * end, 40))
    assert found.stop_position == pytest.approx(end, rel=1e-9)
    assert found.stop_time == pytest.approx(1.0 / (0.4 * g), rel=1e-9)
    assert np.isfinite(found.time[:20]).all()
    assert np.isnan(found.time[20:]).all()
