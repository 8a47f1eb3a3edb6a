"""Guard bands and risks of deciding wrongly."""

import math

import numpy as np
import pytest

from gatesim.shopfloor.decision import Limits, acceptance_probability, conformance_probability, guarded, risks


def test_a_measured_value_near_a_limit_conforms_with_the_guide_s_probability() -> None:
    # JCGM 106:2012, 7.3: a breakdown voltage of -5.47 V, u = 0.05 V, limit -5.40 V conforms
    # with probability 0.92 (from memory).
    p = conformance_probability(-5.47, 0.05, -math.inf, -5.40)
    assert p == pytest.approx(0.92, abs=5e-3)


@pytest.mark.parametrize(("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)])
def test_single_limit_probabilities_follow_the_guide_s_table(p: float, z: float) -> None:
    # JCGM 106:2012, table 1: z = (T_U - y)/u for conformance probability p (from memory).
    assert conformance_probability(-z, 1.0, -math.inf, 0.0) == pytest.approx(p, abs=2e-3)


def test_acceptance_limits_are_drawn_in_by_the_expanded_uncertainty() -> None:
    # ISO 14253-1: conformity is proved inside the tolerance reduced by U at both ends (memory).
    limits = guarded(9.9, 10.1, 0.01, 2.0)
    assert limits.accept_lower == pytest.approx(9.92)
    assert limits.accept_upper == pytest.approx(10.08)


def test_a_prior_draws_the_estimate_towards_the_process() -> None:
    # JCGM 106:2012, 7.2 and annex C: product of normal densities (derived: precision-weighted mean).
    plain = conformance_probability(10.1, 0.05, 9.9, 10.1)
    informed = conformance_probability(10.1, 0.05, 9.9, 10.1, prior=(10.0, 0.05))
    from scipy import stats

    assert plain == pytest.approx(0.5, abs=1e-4)
    spread = 0.05 / math.sqrt(2.0)
    expected = stats.norm.cdf(0.05 / spread) - stats.norm.cdf(-0.15 / spread)
    assert informed == pytest.approx(expected, rel=1e-12)


def bivariate(mean: float, spread: float, std: float, limits: Limits) -> tuple[float, float]:
    """Consumer's and producer's risk from the joint normal of length and indication."""
    from scipy import stats

    both = stats.multivariate_normal([mean, mean], [[spread**2, spread**2], [spread**2, spread**2 + std**2]])

    def box(a: float, b: float, c: float, d: float) -> float:
        return float(both.cdf([b, d]) - both.cdf([a, d]) - both.cdf([b, c]) + both.cdf([a, c]))

    far = mean + 40.0 * spread
    good = box(limits.lower, limits.upper, limits.accept_lower, limits.accept_upper)
    accepted = box(2 * mean - far, far, limits.accept_lower, limits.accept_upper)
    conforming = box(limits.lower, limits.upper, 2 * mean - far, far)
    return accepted - good, conforming - good


@pytest.mark.parametrize("factor", [-1.0, 0.0, 1.0, 2.0])
@pytest.mark.parametrize("mean", [1500.0, 1500.1])
def test_global_risks_are_those_of_the_joint_normal_distribution(factor: float, mean: float) -> None:
    # JCGM 106:2012, 9.5: double integrals of the joint density; here against the bivariate normal
    # distribution function of scipy, with the resistors of 9.5.4 (1500 +- 0.2, process 0.12, u 0.04).
    limits = guarded(1499.8, 1500.2, 0.04, factor)
    got = risks(mean, 0.12, 0.04, limits)
    consumer, producer = bivariate(mean, 0.12, 0.04, limits)
    assert got.consumer == pytest.approx(consumer, abs=2e-6)
    assert got.producer == pytest.approx(producer, abs=2e-6)


def test_global_risks_are_the_shares_counted_in_a_simulated_lot() -> None:
    rng = np.random.default_rng(2)
    limits = Limits(-math.inf, 1.0, -math.inf, 0.9)
    length = rng.normal(0.0, 0.7, 400_000)
    accepted = length + rng.normal(0.0, 0.2, length.size) <= 0.9
    got = risks(0.0, 0.7, 0.2, limits)
    assert got.consumer == pytest.approx(np.mean(accepted & (length > 1.0)), abs=1e-3)
    assert got.producer == pytest.approx(np.mean(~accepted & (length <= 1.0)), abs=1e-3)
    assert got.accepted == pytest.approx(np.mean(accepted), abs=3e-3)


def test_the_four_shares_of_a_lot_add_up() -> None:
    got = risks(0.2, 0.5, 0.1, guarded(-1.0, 1.0, 0.1))
    rejected_bad = 1.0 - got.conforming - got.consumer
    assert got.accepted == pytest.approx(got.conforming - got.producer + got.consumer, abs=1e-12)
    assert got.accepted + got.producer + rejected_bad == pytest.approx(1.0, abs=1e-12)


def test_the_worst_specific_risk_sits_at_the_acceptance_limit() -> None:
    got = risks(0.0, 0.3, 0.1, guarded(-1.0, 1.0, 0.1, 2.0))
    assert got.at_limit == pytest.approx(0.02275, abs=1e-5)


def test_nothing_is_accepted_where_the_guard_bands_meet() -> None:
    limits = guarded(-1.0, 1.0, 0.6, 2.0)
    assert acceptance_probability(0.0, 0.6, limits) == 0.0
    assert risks(0.0, 0.3, 0.6, limits).accepted == 0.0
