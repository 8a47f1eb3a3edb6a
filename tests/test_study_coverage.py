"""Intervals hold what they promise, by binomial test.

Each test counts how often an interval holds the known answer and refuses counts whose probability
under the promise is below 1e-7 on one side: a false alarm rate below 1e-6 for all of them together.
"""

import math

import numpy as np
import pytest
from scipy.stats import binomtest, chi2, expon, norm

from gatesim.ground.distribution import Normal
from gatesim.ground.quantity import Quantity
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.result import Proportion
from gatesim.studies.workers import InThisProcess
from tests.study_models import FormulaModel

ONE_SIDE = 1e-7
X = {"x": Quantity(0.0, spread=Normal(1.0))}
MODELS = {
    "normal": (lambda v: v["x"], norm),
    "chi-square": (lambda v: v["x"] ** 2, chi2(1)),
    "exponential": (lambda v: -np.log(norm.cdf(v["x"])), expon),
}


def agrees(hits: int, tries: int, promised: float) -> bool:
    """Whether a count of hits is compatible with the promised probability, both ways."""
    return all(
        binomtest(hits, tries, promised, alternative=side).pvalue > ONE_SIDE for side in ("less", "greater")
    )


@pytest.mark.long
@pytest.mark.parametrize("name", MODELS)
@pytest.mark.parametrize("ends", ["symmetric", "shortest"])
def test_95_percent_intervals_cover_95_percent_of_fresh_trials(name, ends):
    formula, _ = MODELS[name]
    model = FormulaModel(X, formula)
    found = study(model, Plan(trials=1_000_000, seed=1), workers=1).formulas["y"]
    low, high = (
        (found.low.value, found.high.value)
        if ends == "symmetric"
        else (found.shortest_low.value, found.shortest_high.value)
    )
    fresh: list[int] = []
    study(
        model,
        Plan(trials=200_000, seed=2),
        executor=InThisProcess(),
        sink=lambda t: fresh.append(int(np.sum((t.readings["y"] >= low) & (t.readings["y"] <= high)))),
    )
    # the interval itself has a Monte Carlo error of 0.0002 in coverage, small beside the 0.0005 here
    assert agrees(sum(fresh), 200_000, 0.95)


@pytest.mark.long
@pytest.mark.parametrize("name", MODELS)
def test_monte_carlo_errors_cover_the_known_answer_as_often_as_two_sigma_should(name):
    formula, exact = MODELS[name]
    known = {
        "bias": exact.mean(),
        "uncertainty": exact.std(),
        "low": exact.ppf(0.025),
        "high": exact.ppf(0.975),
    }
    hits = dict.fromkeys(known, 0)
    runs = 300
    for seed in range(runs):
        plan = Plan(trials=5_000, seed=seed)
        found = study(FormulaModel(X, formula), plan, executor=InThisProcess()).formulas["y"]
        for figure, value in known.items():
            estimate = getattr(found, figure)
            hits[figure] += abs(estimate.value - value) <= 2.0 * estimate.error
    two_sigma = math.erf(math.sqrt(2.0))
    for figure, count in hits.items():
        assert agrees(count, runs, two_sigma), f"{figure}: {count} of {runs}"


@pytest.mark.long
@pytest.mark.parametrize("p", [0.0005, 0.03, 0.5])
def test_outcome_intervals_cover_at_least_95_percent(p):
    rng = np.random.default_rng(11)
    runs, trials = 500, 2000
    hits = 0
    for count in rng.binomial(trials, p, size=runs):
        found = Proportion(int(count), trials)
        hits += found.low <= p <= found.high
    # Clopper-Pearson is exact: never less than promised
    assert binomtest(hits, runs, 0.95, alternative="less").pvalue > ONE_SIDE


@pytest.mark.long
def test_block_scatter_tells_the_error_of_sobol_points():
    formula, exact = MODELS["chi-square"]
    hits, runs = 0, 200
    for seed in range(runs):
        plan = Plan(trials=4096, seed=seed, quasi=True)
        found = study(FormulaModel(X, formula), plan, executor=InThisProcess()).formulas["y"]
        # 16 replicates: Student's t with 15 degrees of freedom, 2.131 at 95 %
        hits += abs(found.bias.value - exact.mean()) <= 2.131 * found.bias.error
    # replicates of a heavy-tailed figure are only roughly normal: 90 % is what must hold
    assert binomtest(hits, runs, 0.90, alternative="less").pvalue > ONE_SIDE
