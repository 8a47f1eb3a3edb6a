"""Sweeps over one or two quantities."""

import numpy as np
import pytest

from gatesim.ground.distribution import Normal
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.sweep import SweptQuantity, grid_values, sweep
from gatesim.studies.workers import InThisProcess
from tests.study_models import FormulaModel

PLAN = Plan(trials=5_000, seed=4)


class Shifted:
    def __init__(self, offset, gain):
        self.offset, self.gain = offset, gain

    def __call__(self, v):
        y = self.offset + self.gain * v["x"]
        return np.where(y > -2.0, y, np.nan)


def at(values):
    formula = Shifted(values.get("offset", 0.0), values.get("gain", 1.0))
    return FormulaModel({"x": Quantity(0.0, spread=Normal(1.0))}, formula)


def test_each_point_is_the_study_of_that_point():
    axes = [SweptQuantity("offset", np.linspace(-1.0, 3.0, 4)), SweptQuantity("gain", np.array([0.5, 2.0]))]
    found = sweep(at, axes, PLAN, workers=1)
    assert found.formulas["y"]["bias"].shape == (4, 2)
    assert not found.interrupted
    for i, offset in enumerate(axes[0].values):
        for j, gain in enumerate(axes[1].values):
            alone = study(at({"offset": offset, "gain": gain}), PLAN, workers=1)
            assert found.formulas["y"]["bias"][i, j] == alone.formulas["y"].bias.value
            assert found.formulas["y"]["uncertainty"][i, j] == alone.formulas["y"].uncertainty.value
            assert found.formulas["y"]["yield"][i, j] == alone.formulas["y"].good.share
            # every outcome of this model is "measured"; what is lost has no reading below the cut-off
            assert alone.formulas["y"].good.count == alone.formulas["y"].readings


def test_same_arrays_on_two_workers():
    axes = [SweptQuantity("offset", np.linspace(-1.0, 3.0, 9))]
    alone, two = sweep(at, axes, PLAN, workers=1), sweep(at, axes, PLAN, workers=2)
    for column, values in alone.formulas["y"].items():
        assert np.array_equal(values, two.formulas["y"][column])


def test_points_share_their_random_numbers():
    # far from the cut-off the bias follows the offset exactly, sampling noise and all
    found = sweep(at, [SweptQuantity("offset", np.array([10.0, 10.001]))], PLAN, workers=1).formulas["y"]
    assert np.diff(found["bias"])[0] == pytest.approx(0.001, rel=1e-9)
    assert found["bias_error"][0] > 0.01  # ten times the step that is resolved


def test_ctrl_c_keeps_the_points_reached():
    class Impatient(InThisProcess):
        points = 0

        def submit(self, fn, /, *args, **kwargs):
            self.points += 1
            if self.points == 4:
                raise KeyboardInterrupt
            return super().submit(fn, *args, **kwargs)

    found = sweep(at, [SweptQuantity("offset", np.linspace(0.0, 1.0, 9))], PLAN, executor=Impatient())
    assert found.interrupted
    assert np.isnan(found.formulas["y"]["bias"]).sum() == 6


def test_grids_and_their_errors():
    assert grid_values(1.0, 100.0, 3, True) == pytest.approx([1.0, 10.0, 100.0])
    assert grid_values(1.0, 3.0, 3, False) == pytest.approx([1.0, 2.0, 3.0])
    with pytest.raises(InputError, match="log grid"):
        grid_values(0.0, 1.0, 3, True)
    with pytest.raises(InputError, match="at least 2"):
        grid_values(0.0, 1.0, 1, False)
    with pytest.raises(InputError, match="one or two"):
        sweep(at, [], PLAN)
