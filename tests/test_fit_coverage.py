"""Coverage of fitted values over many simulated logs, each of a rig of its own."""

import numpy as np
import pytest
from scipy.stats import binom

from gatesim.shopfloor.fit.fit import estimate
from gatesim.shopfloor.fit.result import FitOptions
from tests.fit_logs import logs, rig
from tests.many_fits import estimates

LOGS = 200
FALSE_ALARM = 1e-4  # of each bound below: fewer than ten on each side, and seeds that stay


def bounds(share: float, count: int) -> tuple[float, float]:
    return binom.ppf(FALSE_ALARM, count, share), binom.isf(FALSE_ALARM, count, share)


def scores(found: list, truth: dict, names: list[str]) -> np.ndarray:
    """(Estimate - truth) / standard uncertainty, (logs, names)."""
    rows = []
    for k, fit in enumerate(found):
        by_name = {p.name: j for j, p in enumerate(fit.forward.parameters)}
        rows.append([(fit.estimate[by_name[n]] - truth[n][k]) / fit.std[by_name[n]] for n in names])
    return np.array(rows)


@pytest.mark.long(seconds=15)
def test_fitted_friction_covers_the_truth_at_the_stated_rate_over_200_logs() -> None:
    """Slope, release distance, spacing and delays are each log's own, known with an uncertainty only.

    Seen in nine of ten: 51 % or 84 % within one standard uncertainty, 85 % within 1.96, an alarm of 7 %.
    """
    scenario = rig()
    made, truth = logs(scenario, np.repeat([0.15, 0.2, 0.26], 8), LOGS, 11, {"path.friction": 0.27})
    options = FitOptions(["path.friction"], held_out=0.0, draws=300)
    found = estimates(scenario, made, options)
    z = scores(found, truth, ["path.friction"])[:, 0]
    for limit, share in ((1.0, 0.6827), (1.96, 0.95)):
        low, high = bounds(share, LOGS)
        assert low <= (np.abs(z) < limit).sum() <= high
    # every test of adequacy alarms at 1 % at most, and outliers are seen in about 5 % of the logs
    most = binom.isf(FALSE_ALARM, LOGS, 0.01)
    for name in ("misfit", "lack_of_fit", "scatter", "drift"):
        assert sum(getattr(fit.adequacy, name).significant for fit in found) <= most
    assert sum(fit.odd.outliers.any() for fit in found) <= binom.isf(FALSE_ALARM, LOGS, 0.05)


@pytest.mark.long
def test_without_the_fixed_quantities_the_same_fits_would_not_cover() -> None:
    """The counter-test: spacing and slope errors taken for nothing leave far too small uncertainties."""
    scenario = rig()
    exact = rig(
        '[part]\nlength = "200 mm"\nmass = "0.2 kg"\n[path]\nslope = "40 deg"\nfriction = 0.3\n'
        '[gate]\nfirst = "400 mm"\nspacing = "80 mm"\n[sensor]\ndark_delay = "50 us"\nlight_delay = "60 us"\n'
        'jitter = "4 us"\n[counter]\nfrequency = "100 kHz"\n'
    )
    made, truth = logs(scenario, np.repeat([0.15, 0.2, 0.26], 8), 20, 11, {"path.friction": 0.27})
    found = estimates(exact, made, FitOptions(["path.friction"], held_out=0.0, draws=500))
    z = scores(found, truth, ["path.friction"])[:, 0]
    assert (np.abs(z) < 1.96).sum() < bounds(0.95, 20)[0]
    assert sum(fit.adequacy.describes for fit in found) <= 10


@pytest.mark.long
@pytest.mark.parametrize("told", [True, False])
def test_unknown_lengths_are_estimated_along_and_covered(told: bool) -> None:
    """Twenty parts of unknown length, once each; with ``told`` references beside them."""
    scenario = rig()
    lengths = np.concatenate([np.repeat([0.15, 0.26], 6), np.linspace(0.15, 0.26, 20)])
    made, truth = logs(scenario, lengths, 16, 3, {"path.friction": 0.33})
    for log in made:
        log.numbers["reference"] = np.where(told & (np.arange(32) < 12), lengths, np.nan)
    found = estimates(scenario, made, FitOptions(["path.friction"], held_out=0.0, draws=300))
    z = scores(found, truth, ["path.friction"])[:, 0]
    last = found[0].rows.group[-1]
    of_lengths = [(fit.lengths[last] - lengths[-1]) / fit.length_std[last] for fit in found]
    for score in (z, of_lengths):
        low, high = bounds(0.95, 16)
        assert low <= (np.abs(score) < 1.96).sum() <= high


@pytest.mark.long
def test_a_release_that_varies_is_scatter_and_not_a_fixed_error() -> None:
    scenario = rig()
    made, truth = logs(
        scenario, np.repeat([0.15, 0.2, 0.26], 10), 24, 17, {"path.friction": 0.27}, varies=("gate.first",)
    )
    options = FitOptions(["path.friction"], varies=["gate.first"], held_out=0.0, draws=500)
    found = estimates(scenario, made, options)
    low, high = bounds(0.95, 24)
    assert low <= (np.abs(scores(found, truth, ["path.friction"])) < 1.96).sum() <= high
    assert all(fit.adequacy.describes for fit in found[:5])
    assert "gate.first" not in [p.name for p in found[0].forward.parameters]
    # taken for a fixed quantity, its scatter is far more than jitter and counting explain
    fixed = estimate(scenario, made[0], FitOptions(["path.friction"], held_out=0.0, draws=500))
    assert fixed.adequacy.scatter is not None
    assert fixed.adequacy.scatter.significant
    assert fixed.adequacy.scatter_ratio > 2.0


@pytest.mark.long
def test_a_polled_counter_is_fitted_through_its_mean_delay_and_covered() -> None:
    """Counts of a polled counter are a staircase; slopes come from the rig with the mean delay."""
    text = rig(counter='timing = { kind = "polled", cycle = "1 ms" }')
    made, truth = logs(text, np.repeat(np.linspace(0.15, 0.26, 12), 6), 24, 23, {"path.friction": 0.27})
    found = estimates(text, made, FitOptions(["path.friction"], held_out=0.0, draws=500))
    low, high = bounds(0.95, 24)
    assert low <= (np.abs(scores(found, truth, ["path.friction"])) < 1.96).sum() <= high
