"""The nominal passage, solved side by side with what the controller takes from it."""

from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from gatesim.chain.nominal import nominal_passage
from gatesim.chain.pipeline import run
from gatesim.ground.draw import Nominal
from gatesim.scenario import load

FILES = sorted((Path(__file__).parent.parent / "scenarios").glob("*.toml"))


@pytest.mark.parametrize(
    "file", [pytest.param(f, marks=pytest.mark.long if f.stem[:2] in ("11", "12") else ()) for f in FILES],
    ids=lambda f: f.stem,
)  # fmt: skip
def test_it_has_the_bits_of_a_run_of_one_median_trial(file):
    scenario = load(file)
    one, other = nominal_passage(scenario), run(scenario, Nominal(1))
    assert one.rig.constants == other.rig.constants
    assert {name: r.tobytes() for name, r in one.readings.items()} == {
        name: r.tobytes() for name, r in other.readings.items()
    }
    for stage in ("light", "sensed", "filtered"):
        for a, b in zip(getattr(one, stage), getattr(other, stage), strict=True):
            np.testing.assert_array_equal(a, b)
    for field in fields(other.motion):
        if field.name not in ("belt", "node_position", "node_time", "node_speed"):
            np.testing.assert_array_equal(getattr(one.motion, field.name), getattr(other.motion, field.name))
    t = np.linspace(0.0, 1.5, 301)[None, :]
    np.testing.assert_array_equal(one.motion.travel_at(t), other.motion.travel_at(t))
