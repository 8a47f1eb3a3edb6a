"""Dimensions of outline and beam with spreads, against outlines integrated afresh for each trial."""

import math

import numpy as np
import pytest

from gatesim.chain import pipeline
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.errors import InputError
from gatesim.scenario import parse_text
from gatesim.studies.budget import budget
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel

# An invented belt; its numbers serve as input only.
BELT = """
[part]
length = "200 mm"
height = {height}
front = {{ shape = "chamfer", length = {chamfer}, tip_height = {tip} }}
[belt]
speed = "0.8 m/s"
friction = 0.6
[gate]
first = "700 mm"
spacing = "80 mm"
[sensor]
beam = {{ shape = "circular", diameter = {diameter}, offset = "3 mm" }}
dark_fraction = {{ value = "60 %", distribution = "rectangular", half_width = "10 %" }}
light_fraction = "40 %"
[counter]
frequency = "100 MHz"
[formula]
use = ["spacing-dwell"]
"""
PLAIN = {"height": '"20 mm"', "chamfer": '"8 mm"', "tip": '"4 mm"', "diameter": '"2 mm"'}
NAMES = {
    "height": "part.height",
    "chamfer": "part.front.length",
    "tip": "part.front.tip_height",
    "diameter": "sensor.beam.diameter",
}


def spread(value: str, std: str) -> str:
    return f'{{ value = "{value}", distribution = "normal", standard_uncertainty = "{std}" }}'


SPREADS = {
    "height": spread("20 mm", "0.3 mm"),
    "chamfer": spread("8 mm", "0.4 mm"),
    "tip": spread("4 mm", "0.3 mm"),
    "diameter": spread("2 mm", "0.1 mm"),
}


def text(**changed: str) -> str:
    return BELT.format(**{**PLAIN, **changed})


def edges(scenario, values=None):
    """Travel of the leading end at the four edges of gate 1 and 2, m, (n, 4)."""
    found = pipeline.motion_query(scenario, Nominal(1), values)
    return np.hstack([s.travel for s in found.switchings])[0]


@pytest.mark.parametrize("key", list(NAMES))
def test_switching_points_are_those_of_an_outline_integrated_afresh(key):
    spread_out = parse_text(text(**{key: SPREADS[key]}))
    path = NAMES[key]
    inputs = spread_out.inputs()
    names = [name for name in inputs if name.partition("@")[0] == path]
    quantity = inputs[names[0]]
    for by in (-2.0, -0.7, 0.4, 1.5):
        value = quantity.nominal + by * quantity.std
        found = edges(spread_out, {name: np.array([value]) for name in names})
        afresh = edges(parse_text(text(**{key: f'"{1e3 * value:.12g} mm"'})))
        nominal = edges(parse_text(text()))
        # to second order: what is left is far below what the spread moves
        assert np.abs(found - afresh).max() <= 0.01 * np.abs(afresh - nominal).max() + 2e-8


@pytest.mark.long(seconds=16)
def test_a_study_has_the_scatter_of_trials_each_with_an_outline_of_its_own():
    scenario = parse_text(text(chamfer=SPREADS["chamfer"], tip=SPREADS["tip"]))
    rng = np.random.default_rng(3)
    errors = []
    for number in range(300):
        own = text(
            chamfer=f'"{8.0 + 0.4 * rng.standard_normal():.9g} mm"',
            tip=f'"{4.0 + 0.3 * rng.standard_normal():.9g} mm"',
        )
        read = pipeline.run(parse_text(own), Streams(5, number, 1)).readings["spacing-dwell"]
        errors.append(float(read[0]) - 0.2)
    found = study(RigModel(scenario), Plan(trials=40_000), workers=1).formulas["spacing-dwell"]
    # 300 trials know their standard deviation to 4 %
    assert found.uncertainty.value == pytest.approx(float(np.std(errors, ddof=1)), rel=0.13)
    assert found.bias.value == pytest.approx(np.mean(errors), abs=4.0 * np.std(errors) / math.sqrt(300))


@pytest.mark.long
def test_budget_has_a_row_for_the_chamfer():
    scenario = parse_text(text(chamfer=SPREADS["chamfer"]))
    row = next(r for r in budget(RigModel(scenario), "spacing-dwell").rows if r.name == "part.front.length")
    shorter, longer = (
        float(pipeline.run(parse_text(text(chamfer=f'"{c} mm"')), Nominal(1), quantised=False)
              .readings["spacing-dwell"][0])
        for c in ("7.6", "8.4")
    )  # fmt: skip
    assert row.contribution == pytest.approx((longer - shorter) / 2.0, rel=1e-3)
    assert row.per == "part"


def test_a_spread_within_which_the_part_is_no_longer_seen_alike_is_refused():
    lost = text(tip='"0 mm"', height=spread("6.5 mm", "0.6 mm")).replace('"3 mm"', '"4 mm"')
    scenario = parse_text(lost)
    with pytest.raises(InputError, match=r"part\.height: given a spread within which") as refused:
        study(RigModel(scenario), Plan(trials=1000), workers=1)
    assert "expected a narrower one or a plain value" in str(refused.value)
