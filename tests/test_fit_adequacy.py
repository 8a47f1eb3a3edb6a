"""Does the fit say when the model is wrong, a row does not belong, or the rig drifts."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import chi2

from gatesim.shopfloor.fit.fit import estimate
from gatesim.shopfloor.fit.outliers import _by_own_scatter
from gatesim.shopfloor.fit.result import FitOptions
from tests.fit_logs import SLIDE, logs, rig
from tests.many_fits import estimates

REFERENCES = np.repeat([0.15, 0.2, 0.26], 12)
WISH = FitOptions(["path.friction"], held_out=0.0, draws=1000)


@pytest.mark.long
def test_an_unmodelled_brake_is_reported_as_lack_of_fit() -> None:
    braked = rig(brake='start = "450 mm"\nlength = "150 mm"\npeak_force = "0.3 N"\ncritical_speed = "2 m/s"')
    for log in logs(braked, REFERENCES, 3, 7)[0]:
        found = estimate(rig(), log, WISH).adequacy
        assert not found.describes
        assert found.lack_of_fit is not None
        assert found.lack_of_fit.p < 1e-6
        # rows repeat one another as well as ever: it is the model, not the scatter
        assert found.scatter is not None
        assert not found.scatter.significant


def test_the_same_brake_in_the_model_fits() -> None:
    braked = rig(brake='start = "450 mm"\nlength = "150 mm"\npeak_force = "0.3 N"\ncritical_speed = "2 m/s"')
    [log], _ = logs(braked, REFERENCES, 1, 8)  # of seeds 0 to 19 one is found fault with, by chance
    assert estimate(braked, log, replace(WISH, unknown=["brake.peak_force"])).adequacy.describes


@pytest.mark.long
@pytest.mark.parametrize("lone", [False, True])
def test_a_row_that_does_not_belong_is_set_apart_and_named(lone: bool) -> None:
    references = np.linspace(0.15, 0.26, 24) if lone else REFERENCES
    [log], _ = logs(rig(), references, 1, 13, {"path.friction": 0.28})
    clean = estimate(rig(), log, WISH)
    assert not clean.odd.outliers.any()
    log.numbers["capture"][9] += 60.0
    found = estimate(rig(), log, WISH)
    assert np.flatnonzero(found.odd.outliers).tolist() == [9]
    assert [bad.line for bad in found.apart] == [11]
    assert abs(found.estimate[0] - clean.estimate[0]) < 0.5 * clean.std[0]


@pytest.mark.long
def test_many_odd_rows_are_left_in_and_called_scatter() -> None:
    [log], _ = logs(rig(), REFERENCES, 1, 13)
    log.numbers["capture"][::3] += 60.0
    found = estimate(rig(), log, WISH)
    assert not found.odd.outliers.any()
    assert found.odd.suspects.sum() == 12
    assert found.adequacy.crowded
    assert not found.adequacy.describes


@pytest.mark.long
def test_friction_that_falls_with_time_is_found_with_its_rate() -> None:
    order = np.random.default_rng(4).permutation(np.tile(REFERENCES, 2))
    time = np.arange(len(order)) * 60.0
    rate = -1e-6
    [log], _ = logs(rig(), order, 1, 20, {"path.friction": 0.3})
    steady = estimate(rig(), replace(log, numbers={**log.numbers, "time": time}), WISH).adequacy
    assert not steady.drift.significant
    parts = [logs(rig(), order, 1, 20, {"path.friction": 0.3 + rate * t})[0][0] for t in time[::6]]
    # the same draws at every time: row k of the log comes from the rig as it was at its time
    numbers = {
        name: np.array([parts[k // 6].numbers[name][k] for k in range(len(order))]) for name in log.numbers
    }
    found = estimate(rig(), replace(log, numbers={**numbers, "time": time}), WISH).adequacy
    assert found.drift.significant
    drift = found.drifts[0]
    assert drift.name == "path.friction"
    assert abs(drift.slope - 3600.0 * rate) < 5.0 * drift.std + 0.1 * abs(3600.0 * rate)  # steps of six rows
    assert found.drift_per == "hour"


def test_a_gross_row_among_those_held_out_is_set_apart_too_and_the_fit_is_none_the_wiser() -> None:
    [log], _ = logs(rig(), REFERENCES, 1, 13, {"path.friction": 0.28})
    options = replace(WISH, held_out=0.25)
    clean = estimate(rig(), log, options)
    row = int(np.flatnonzero(clean.rows.held_out)[2])
    log.numbers["capture"][row] += 60.0
    found = estimate(rig(), log, options)
    assert np.flatnonzero(found.odd.outliers).tolist() == [row]
    np.testing.assert_array_equal(found.estimate, clean.estimate)


@pytest.mark.long
def test_without_jitter_the_scatter_of_whole_counts_raises_no_alarm() -> None:
    """It is anything from none to half as much again as 1/6 count squared, by the fraction of a count."""
    still = rig(SLIDE.replace('jitter = "4 us"', 'jitter = "0 us"'))
    ratios, made = [], logs(still, np.full(400, 0.2), 24, 29, {"path.friction": 0.27})[0]
    for log in made:
        for name in ("capture", "rear_capture"):
            del log.numbers[name]
    for found in estimates(still, made, replace(WISH, draws=300)):
        ratios.append(found.adequacy.scatter_ratio**2)
        assert found.adequacy.describes
        assert not found.adequacy.scatter.significant
        assert not found.odd.outliers.any()
    # f (1 - f) over 1/6: the logs do reach both ends
    assert min(ratios) < 0.5
    assert max(ratios) > 1.4


def test_the_scatter_that_logs_have_on_their_own_is_found_for_many_as_for_one() -> None:
    """A twentieth of the rows lies ten times as far off, and hardly sways the covariance of the rest."""
    rng = np.random.default_rng(3)
    root = np.array([[2.0, 0.0], [1.5, 1.0]])
    away = np.zeros((5, 400, 4))
    away[:, :, :2] = rng.standard_normal((5, 400, 2)) @ root.T
    away[:, :20] *= 10.0
    squared, own = _by_own_scatter(away, float(chi2.median(2)))
    for log, found, covariance in zip(away, squared, own, strict=True):
        [alone], [its_own] = _by_own_scatter(log[None], float(chi2.median(2)))
        np.testing.assert_allclose(found, alone, rtol=1e-12)
        np.testing.assert_allclose(covariance, its_own, rtol=1e-12)
        np.testing.assert_allclose(covariance[:2, :2], root @ root.T, rtol=0.4)
        assert not covariance[2:].any()
