"""Accept or reject: guard bands (ISO 14253-1) and the risks of deciding wrongly (JCGM 106:2012)."""

import math
from dataclasses import dataclass

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class Limits:
    """Tolerance limits and the acceptance limits drawn in from them; inf where one is absent."""

    lower: float
    upper: float
    accept_lower: float
    accept_upper: float


def guarded(lower: float, upper: float, std: float, factor: float = 2.0) -> Limits:
    """Acceptance limits drawn in by U = factor * std (ISO 14253-1; JCGM 106, 8.3.2).

    ``factor`` 0 is simple acceptance, a negative one widens. Where U exceeds half the
    tolerance no indication proves conformity and ``accept_lower`` > ``accept_upper``.
    """
    guard = factor * std
    return Limits(lower, upper, lower + guard, upper - guard)


def conformance_probability(
    indication: float | Array,
    std: float,
    lower: float,
    upper: float,
    prior: tuple[float, float] | None = None,
) -> float | Array:
    """Probability that the length lies within the tolerance, given the indication.

    JCGM 106, 7.2: the state of knowledge is normal about the indication; with a normal
    ``prior`` (mean, standard deviation) of the process both are combined.
    """
    from scipy import stats

    mean, spread = indication, std
    if prior is not None:
        weight = prior[1] ** 2 / (prior[1] ** 2 + std**2)
        mean, spread = weight * indication + (1.0 - weight) * prior[0], std * math.sqrt(weight)
    probability: float | Array = stats.norm.cdf((upper - mean) / spread) - stats.norm.cdf(
        (lower - mean) / spread
    )
    return probability


def acceptance_probability(length: float | Array, std: float, limits: Limits) -> float | Array:
    """Probability that a part of true ``length`` is accepted (the operating characteristic)."""
    from scipy import stats

    if limits.accept_lower >= limits.accept_upper:
        return 0.0 * length
    above, below = (limits.accept_upper - length) / std, (limits.accept_lower - length) / std
    probability: float | Array = stats.norm.cdf(above) - stats.norm.cdf(below)
    return probability


@dataclass(frozen=True)
class Risks:
    """Global risks of a process with a gauge (JCGM 106, 9.5), as probabilities for a part at random.

    ``consumer``: out of tolerance and accepted; ``producer``: within tolerance and
    rejected; ``conforming``: share of the process within tolerance; ``accepted``: share
    accepted. ``at_limit``: specific consumer's risk of an indication at an acceptance limit.
    """

    consumer: float
    producer: float
    conforming: float
    accepted: float
    at_limit: float


def risks(process_mean: float, process_std: float, std: float, limits: Limits) -> Risks:
    """Integrate over a normal process; indications are normal about the length (JCGM 106, 9.5.2).

    ``std`` is the standard uncertainty of an indication.
    """
    from scipy import stats

    within = (limits.lower, limits.upper)
    process = stats.norm(process_mean, process_std)
    conforming = float(process.cdf(limits.upper) - process.cdf(limits.lower))
    good = _accepted(process_mean, process_std, std, limits, within)
    low = _accepted(process_mean, process_std, std, limits, (-math.inf, limits.lower))
    high = _accepted(process_mean, process_std, std, limits, (limits.upper, math.inf))
    at = [a for a in (limits.accept_lower, limits.accept_upper) if math.isfinite(a)]
    worst = [1.0 - float(conformance_probability(a, std, limits.lower, limits.upper)) for a in at]
    found = (low + high, conforming - good, conforming, good + low + high, max(worst, default=0.0))
    return Risks(*(min(max(share, 0.0), 1.0) for share in found))  # quadrature errs by some 1e-12


def _accepted(mean: float, spread: float, std: float, limits: Limits, span: tuple[float, float]) -> float:
    """Probability of lying in ``span`` and being accepted, by Gauss-Kronrod quadrature."""
    from scipy import integrate, stats

    # Beyond nine standard deviations the process holds 1e-18 of its parts.
    a, b = max(span[0], mean - 9.0 * spread), min(span[1], mean + 9.0 * spread)
    if a >= b:
        return 0.0
    edges = [limits.accept_lower, limits.accept_upper, limits.lower, limits.upper, mean]
    steps = [e + k * std for e in edges if math.isfinite(e) for k in (-6.0, 0.0, 6.0)]
    points = sorted({p for p in steps if a < p < b})

    def density(x: float) -> float:
        return float(stats.norm.pdf(x, mean, spread) * acceptance_probability(x, std, limits))

    value, _ = integrate.quad(density, a, b, points=points or None, epsabs=1e-12, epsrel=1e-9, limit=400)
    return float(value)
