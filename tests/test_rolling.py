"""Rolling and starting: the friction they take is printed, warned of, checked."""

import math
import re

import numpy as np
import pytest

from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.motion import Path, passage
from gatesim.part import Part
from gatesim.prediction.predict import predict
from gatesim.scenario import parse_text
from tests.rigs import PLAIN, rig


def rolling(factor, slope, tables="", **path):
    """The plain rig with a part that rolls."""
    text = PLAIN.replace('mass = "0.2 kg"', f'mass = "0.2 kg"\ninertia_factor = {factor}')
    lines = "\n".join(f"{key} = {value}" for key, value in path.items())
    return parse_text(
        text.replace('slope = "30 deg"', f'slope = "{slope} deg"\n{lines}') + tables, "rig.toml"
    )


def needed(told):
    found = re.search(r"takes a coefficient of friction of (\d+\.?\d*)\.", told.explanation)
    assert found is not None
    return float(found[1])


@pytest.mark.parametrize(("factor", "slope"), [(0.4, 30), (0.5, 20), (1.0, 25), (0.8, 12)])
def test_friction_that_rolling_takes_is_printed(factor, slope):
    # tan(slope) c/(1 + c): rolling down a ramp without sliding, as in Halliday and Resnick (from memory)
    need = math.tan(math.radians(slope)) * factor / (1 + factor)
    assert needed(predict(rolling(factor, slope))) == pytest.approx(need, rel=0.01)


def test_friction_for_rolling_with_rolling_resistance_is_that_of_an_independent_balance():
    # two equations for the acceleration a and the force S at the contact, per mass: a = g sin - S,
    # c a = S - f g cos; solved as a matrix
    c, f, slope, g = 0.5, 0.03, math.radians(20), 9.80665
    _, grip = np.linalg.solve([[1, 1], [c, -1]], [g * math.sin(slope), -f * g * math.cos(slope)])
    told = predict(rolling(c, 20, friction=f))
    assert needed(told) == pytest.approx(grip / (g * math.cos(slope)), rel=0.02)


def test_more_than_dry_guides_give_is_warned_of_and_more_than_there_is_refused():
    assert "can be counted" not in predict(rolling(0.4, 30)).explanation
    assert "can be counted" in predict(rolling(1.0, 45)).explanation
    assert "can be counted" not in predict(rolling(1.0, 45, static_friction=0.6)).explanation
    with pytest.raises(InputError, match=r"path\.static_friction: given 0\.4, expected at least 0\.5"):
        rolling(1.0, 45, static_friction=0.4)


def test_launch_that_turns_the_part_faster_than_friction_can_is_said():
    launch = '[launch]\nstiffness = "100 N/m"\nstretch = "50 mm"\n'
    told = predict(rolling(0.5, 10, launch, static_friction=0.2))
    # 5 N on 0.2 kg: c a/(g cos) with a = (g sin + 25 m/s^2)/1.5 is above 0.2 by far
    assert needed(told) > 0.8
    assert "it slides in places" in told.explanation


def test_released_with_speed_but_not_rolling_yet_is_said():
    # angular momentum about the contact: v0 becomes v0/(1 + c)
    told = predict(rolling(0.5, 20, release_speed='"1 m/s"'))
    assert "loses 33 % of it" in told.explanation
    assert "loses 33 %" not in predict(rolling(0.5, 20)).explanation


def test_part_starts_only_where_the_slope_beats_friction_at_rest():
    # tan(20 deg) = 0.364
    for grip, outcome in ((0.35, Outcome.MEASURED.word), (0.38, Outcome.STOPPED.word)):
        told = predict(rig(slope=f'"20 deg"\nfriction = 0.3\nstatic_friction = {grip}'))
        assert told.outcome == outcome
    moving = predict(rig(slope='"20 deg"\nfriction = 0.3\nstatic_friction = 0.38\nrelease_speed = "0.1 m/s"'))
    assert moving.outcome == "measured"


def test_part_that_stops_uphill_slides_back_only_where_friction_at_rest_lets_it():
    part = Part(0.2, 0.1)
    for grip, back in ((0.3, True), (0.4, False)):  # tan(20 deg) = 0.364
        path = Path(math.radians(-20), friction=0.25, release_speed=1.0, static_friction=grip)
        found = passage(part, path, [], [5.0])
        # v^2 = 2 g (sin + mu cos) x, as for any uniform motion
        stop = 1 / (2 * 9.80665 * (math.sin(math.radians(20)) + 0.25 * math.cos(math.radians(20))))
        assert found.stop_position[0] == pytest.approx(stop, rel=1e-9)
        assert found.outcome[0] == (Outcome.RAN_BACK if back else Outcome.STOPPED)


def test_static_friction_below_that_in_motion_is_refused():
    with pytest.raises(InputError, match=r"path\.static_friction: given 0\.2, expected at least the"):
        rig(slope='"30 deg"\nfriction = 0.3\nstatic_friction = 0.2')
