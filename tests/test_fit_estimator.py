"""The least-squares estimator against certified values, closed forms and another implementation."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from gatesim.shopfloor.fit.fit import estimate
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import MOST, covariance, minimise
from gatesim.shopfloor.fit.noise import counting_covariance, simulated
from gatesim.shopfloor.fit.parameter import parameters
from gatesim.shopfloor.fit.result import FitOptions
from tests.fit_logs import logs, rig

# NIST StRD, nonlinear regression, Misra1a (dental research, monomolecular adsorption), lower difficulty:
# y = b1 (1 - exp(-b2 x)). Data and certified values read in public copies of Misra1a.dat.
VOLUME = np.array(
    [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78]
)
PRESSURE = np.array(
    [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0]
)
CERTIFIED = np.array([2.3894212918e02, 5.5015643181e-04])
CERTIFIED_STD = np.array([2.7070075241e00, 7.2668688436e-06])
RESIDUAL_STD = 1.0187876330e-01


@pytest.mark.parametrize("start", [[500.0, 1e-4], [250.0, 5e-4]])
def test_certified_nonlinear_regression_is_reproduced_to_eight_digits(start: list[float]) -> None:
    def residual(b: np.ndarray) -> np.ndarray:
        return (b[0] * (1.0 - np.exp(-b[1] * PRESSURE)) - VOLUME) / RESIDUAL_STD

    def jacobian(b: np.ndarray) -> np.ndarray:
        decay = np.exp(-b[1] * PRESSURE)
        return np.stack([1.0 - decay, b[0] * PRESSURE * decay], axis=1) / RESIDUAL_STD

    found = minimise(residual, jacobian, np.array(start), tolerance=1e-13)
    np.testing.assert_allclose(found.estimate, CERTIFIED, rtol=1e-8)
    std = np.sqrt(np.diag(covariance(found.jacobian)))
    np.testing.assert_allclose(std, CERTIFIED_STD, rtol=1e-8)
    # residual sum of squares 1.2455138894E-01, certified; in units of the residual variance 12
    assert (found.residual**2).sum() * RESIDUAL_STD**2 == pytest.approx(1.2455138894e-01, rel=1e-9)


def test_a_search_that_does_not_settle_is_given_up_after_as_many_evaluations_as_said() -> None:
    """Rosenbrock's valley (Comput. J. 3 (1960) 175, from memory), far narrower, from far off."""
    asked = []

    def residual(x: np.ndarray) -> np.ndarray:
        asked.append(x)
        return np.array([1e4 * (x[1] - x[0] ** 2), 1.0 - x[0]])

    found = minimise(
        residual, lambda x: np.array([[-2e4 * x[0], 1e4], [-1.0, 0.0]]), np.array([-50.0, 2500.0])
    )
    assert not found.converged
    assert len(asked) == MOST


def test_what_the_residuals_do_not_depend_on_has_infinite_variance() -> None:
    jacobian = np.array([[1.0, 2.0, 0.0], [2.0, 4.0, 0.0], [0.5, 1.0, 0.0]])
    assert np.isinf(np.diag(covariance(jacobian))).all()
    apart = np.array([[1.0, 0.0, 0.0], [0.0, 1e-9, 0.0]])
    # the second is small in its unit only
    np.testing.assert_allclose(np.diag(covariance(apart))[:2], [1.0, 1e18])
    assert np.isinf(covariance(apart)[2, 2])


@pytest.mark.long
def test_estimate_and_uncertainty_agree_with_generalised_least_squares_on_the_closed_form() -> None:
    """From rest x = a t^2 / 2 with a = g (sin - mu cos); spacing known as one more observation.

    Independent: closed form, its own covariance of a row (jitter on each edge, shared edge at gate 1,
    whole counts with a shared phase), and scipy's curve_fit on the full covariance matrix.
    """
    scenario = rig(
        '[part]\nlength = "200 mm"\n[path]\nslope = "40 deg"\nfriction = 0.3\n[gate]\nfirst = "400 mm"\n'
        'spacing = { value = "80 mm", distribution = "normal", standard_uncertainty = "0.05 mm" }\n'
        '[sensor]\njitter = "6 us"\n[counter]\nfrequency = "100 kHz"\n'
    )
    references = np.repeat([0.15, 0.2, 0.26], 10)
    [log], _ = logs(scenario, references, 1, 6, {"path.friction": 0.26, "gate.spacing": 0.08004})
    found = estimate(scenario, log, FitOptions(["path.friction"], held_out=0.0, draws=40_000))
    assert not found.odd.outliers.any()  # the other estimator has all rows

    def model(_: np.ndarray, friction: float, spacing: float) -> np.ndarray:
        a = 9.80665 * (np.sin(np.radians(40)) - friction * np.cos(np.radians(40)))
        reached = np.array([0.4 + references, 0.4 + spacing + 0 * references, 0.4 + spacing + references])
        counts = 1e5 * (np.sqrt(2.0 * reached / a) - np.sqrt(0.8 / a))
        return np.append(counts.T.ravel(), spacing)

    names = ("dwell", "capture", "rear_capture")
    data = np.append(np.stack([log.numbers[n] for n in names], axis=1).ravel(), 0.08)
    row = (np.eye(3) + 1.0) * (0.6**2 + 1.0 / 12.0)
    full = np.zeros((len(data), len(data)))
    full[:-1, :-1] = np.kron(np.eye(30), row)
    full[-1, -1] = 5e-5**2
    best, spread = curve_fit(model, np.zeros(len(data)), data, [0.3, 0.08], full, absolute_sigma=True)
    std = np.sqrt(np.diag(spread))
    # the simulated covariance of a row scatters by 1/sqrt(20000) = 0.7 %, standard uncertainties by half
    np.testing.assert_allclose(found.std, std, rtol=0.02)
    np.testing.assert_allclose(found.estimate, best, atol=0.05 * std.min(), rtol=0.0)


def test_covariance_of_whole_counts_is_that_of_a_shared_uniform_phase() -> None:
    """Against counting itself: floor(p + phase) over evenly spread phases, 1e5 of them."""
    p = np.array([[10.3, 4.85, 7.02], [3.5, 8.25, 11.0]])
    phase = (np.arange(100_000) + 0.5) / 100_000
    for one in p:
        error = np.floor(one + phase[:, None]) - one
        exact = counting_covariance(one[None, :], np.zeros((1, 3, 3)))[0]
        np.testing.assert_allclose(exact, np.cov(error, rowvar=False, bias=True), atol=3e-5)
    smeared = counting_covariance(p, np.eye(3)[None] * 4.0)
    # over all fractions 1/6 and 1/12: J. Kalisz, Metrologia 41 (2004) 17 for the variance (from memory)
    np.testing.assert_allclose(smeared, np.broadcast_to((np.eye(3) + 1.0) / 12.0, smeared.shape), atol=1e-12)


@pytest.mark.parametrize(
    ("table", "line"),
    [
        ("counter", 'timing = { kind = "polled", cycle = "1 ms" }'),
        ("sensor", 'sampling_period = "0.4 ms"\nsamples_in_row = 2'),
        ("filter", 'kind = "majority"\nperiod = "0.5 ms"\nsamples = 8\nneeded = 6'),
    ],
)
def test_expected_counts_of_a_sampled_stage_are_the_mean_of_simulated_passages(table: str, line: str) -> None:
    scenario = rig(**{table: line})
    forward = Forward(scenario, parameters(scenario, ["path.friction"], ()), ())
    none, lengths, draws = np.zeros(len(forward.parameters)), np.array([0.15, 0.2, 0.26]), 4000
    covariance, offset = simulated(forward, none, lengths, draws, 3).moments
    logged = slice(0, 3)  # the rig has no third gate
    error = np.sqrt(np.einsum("grr->gr", covariance)[:, logged] / draws)
    assert (np.abs(offset[:, logged]) < 5.0 * error).all()
    # an edge that waits for the next sample: 1/6 period squared an interval, as for a count
    period = {"counter": 100.0, "sensor": 40.0, "filter": 50.0}[table]
    share = covariance[:, 0, 0] / period**2
    np.testing.assert_allclose(share, 1.0 / 6.0 + 2.0 * (0.4 / period) ** 2, rtol=0.1)


@pytest.mark.long
def test_a_start_far_off_leads_to_the_same_estimate() -> None:
    """Tens of thousands of standard uncertainties off, with thresholds and delays free to make up for it."""
    beam = (
        'beam = { shape = "circular", diameter = "2 mm" }\nlight_fraction = "45 %"\n'
        'dark_fraction = { value = "55 %", distribution = "rectangular", half_width = "5 %" }'
    )
    zone = 'start = "100 mm"\nlength = "600 mm"\n'
    near = rig(sensor=beam, brake=f'{zone}peak_force = "2.0 N"\ncritical_speed = "2.0 m/s"')
    far = rig(sensor=beam, brake=f'{zone}peak_force = "1.6 N"\ncritical_speed = "2.4 m/s"')
    [log], _ = logs(near, np.repeat([0.15, 0.2, 0.26], 10), 1, 5)
    options = FitOptions(["brake.peak_force", "brake.critical_speed"], held_out=0.0)
    one, other = estimate(near, log, options), estimate(far, log, options)
    assert one.adequacy.describes
    assert other.adequacy.describes
    assert (np.abs(one.estimate - other.estimate) < 0.05 * one.std).all()
