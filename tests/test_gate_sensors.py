"""Every gate its own sensor, and beams that do not stand square across the path."""

import math

import numpy as np
import pytest

from gatesim import load, predict
from gatesim.chain import pipeline
from gatesim.explanation.breakdown import breakdown
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.part import Part
from gatesim.scenario import parse_text
from gatesim.sensor import CircularBeam, PointBeam, SlitBeam, switching
from gatesim.studies.budget import budget
from gatesim.studies.rig import RigModel

# An invented belt; its numbers serve as input only.
BELT = """
[part]
length = "200 mm"
height = "30 mm"
width = "25 mm"
[belt]
speed = "0.8 m/s"
friction = 0.6
[gate]
first = "700 mm"
spacing = "80 mm"
[sensor]
dark_delay = { value = "1 ms", distribution = "normal", standard_uncertainty = "10 us" }
light_delay = "1 ms"
[sensor.gate2]
dark_delay = { value = "3 ms", distribution = "normal", standard_uncertainty = "40 us" }
[counter]
frequency = "100 MHz"
[formula]
use = ["spacing-dwell"]
"""
V, L, S = 0.8, 0.2, 0.08


def reading(text: str) -> float:
    return float(pipeline.run(parse_text(text), Nominal(1), quantised=False).readings["spacing-dwell"][0])


def test_a_delay_of_gate_2_alone_lengthens_the_time_from_gate_to_gate():
    assert reading(BELT) == pytest.approx(S * (L / V) / (S / V + 2e-3), rel=1e-9)
    alike = BELT.replace("[sensor.gate2]\n", "").replace(
        'dark_delay = { value = "3 ms", distribution = "normal", standard_uncertainty = "40 us" }\n', ""
    )
    assert reading(alike) == pytest.approx(L, rel=1e-9)


@pytest.mark.long
def test_budget_and_explanation_name_the_gate():
    rig = RigModel(parse_text(BELT))
    rows = {row.name: row for row in budget(rig, "spacing-dwell").rows}
    slow = S * (L / V) / (S / V + 2e-3) ** 2
    assert rows["sensor.dark_delay@2"].contribution == pytest.approx(-slow * 40e-6, rel=1e-4)
    assert abs(rows["sensor.dark_delay@1"].u) == pytest.approx(10e-6)
    found = breakdown(rig.scenario)
    assert {"response@1", "response@2"} <= {share.key for share in found.shares}
    assert "dark and light delay, gate 2" in [share.name for share in found.shares]
    assert "Gate 2 has a sensor of its own: other dark delay." in predict(rig.scenario).explanation


def test_every_key_may_differ_and_a_gate_without_keys_is_like_the_others(tmp_path):
    text = BELT.replace("[sensor.gate2]", '[sensor.gate2]\njitter = "5 us"\nbeam = { shape = "point" }')
    path = tmp_path / "rig.toml"
    path.write_text(
        text.replace("[sensor]\n", '[sensor]\nbeam = { shape = "circular", diameter = "2 mm" }\n')
    )
    scenario = load(path)
    assert [sensor.beam.shape for sensor in scenario.sensors] == ["circular", "point"]
    assert scenario.inputs()["sensor.jitter@2"].nominal == pytest.approx(5e-6)
    assert scenario.inputs()["sensor.jitter@1"].nominal == 0.0
    assert scenario.inputs()["sensor.light_delay@2"].nominal == pytest.approx(1e-3)
    assert "sensor.gate2.dark_delay" in scenario.quantities()
    assert "sensor.gate2.light_delay" not in scenario.quantities()
    changed = scenario.with_values({"sensor.gate2.dark_delay": "2 ms"})
    assert changed.inputs()["sensor.dark_delay@2"].nominal == pytest.approx(2e-3)
    assert scenario.inputs()["sensor.dark_delay@1"].nominal == pytest.approx(1e-3)


def shadow(length, width, angle, beam_half, travel):
    """Share of a slit covered by a box, by projecting its four corners on the beam's cross-section.

    Independent of the code under test: plain geometry of parallel light.
    """
    corners = [(x, z) for x in (travel - length, travel) for z in (-0.5 * width, 0.5 * width)]
    along = [x * math.cos(angle) + z * math.sin(angle) for x, z in corners]
    low, high = max(min(along), -beam_half), min(max(along), beam_half)
    return max(high - low, 0.0) / (2.0 * beam_half)


@pytest.mark.parametrize("angle", [0.0, 0.05, -0.2, 0.7])
@pytest.mark.parametrize("share", [0.3, 0.5, 0.8])
def test_a_slanted_beam_switches_where_the_shadow_of_a_box_does(angle, share):
    length, width, half = 0.2, 0.025, 1.5e-3
    beam = SlitBeam(2.0 * half, 10e-3)
    found = switching(Part(length, width=width), beam, share, share, length, angle).travel[0]
    for at in found:
        assert shadow(length, width, angle, half, at - 1e-9) != pytest.approx(share, abs=1e-12)
        below, above = (shadow(length, width, angle, half, at + d) for d in (-2e-7, 2e-7))
        assert min(below, above) <= share <= max(below, above)


def test_an_opening_narrower_than_the_slant_is_not_seen():
    from gatesim.part import Notch

    part = Part(0.2, height=0.02, openings=(Notch(0.1, 0.01),), width=0.025)
    for beam in (PointBeam(), CircularBeam(1e-3)):
        for angle, edges in ((0.1, 4), (0.6, 2)):
            found = switching(part, beam, 0.5, 0.5, 0.2, angle).travel[0]
            assert np.isfinite(found).sum() == edges


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[sensor.gate2]", "[sensor.gate4]", "sensor.gate4: [sensor] has no key 'gate4', did you mean 'gate"),
        ("[sensor.gate2]", "[sensor.gate3]", "sensor.gate3: given a table, expected a third gate"),
        (
            "[sensor.gate2]",
            '[sensor.gate2]\nlight_fraction = "70 %"',
            "sensor.gate2.light_fraction: given",
        ),
        ("[sensor.gate2]", '[sensor.gate2]\nangle = "80 deg"', "sensor.gate2.angle: given 80 deg"),
        ("[sensor.gate2]", '[sensor.gate2]\ndelay = "1 ms"', "sensor.gate2.delay"),
    ],
)
def test_what_a_gate_cannot_have_is_refused_in_one_sentence(old, new, told):
    with pytest.raises(InputError) as refused:
        parse_text(BELT.replace(old, new))
    assert told in str(refused.value)
