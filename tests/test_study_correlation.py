"""Quantities that are known together: published examples, closed forms, and what is refused."""

import math

import numpy as np
import pytest
from scipy.stats import kstest, norm, spearmanr

from gatesim.ground.correlation import Correlation, Together
from gatesim.ground.distribution import Arcsine, Normal, Rectangular, StudentT, Triangular
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.scenario import parse_text
from gatesim.studies.budget import budget
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from tests.study_models import H2, H2_TOGETHER, CorrelatedModel


def correlated(inputs, formula, *correlations) -> CorrelatedModel:
    return CorrelatedModel(inputs, formula, correlations=correlations)


@pytest.mark.parametrize(
    ("formula", "value", "u"),
    [
        (lambda v: v["V"] / v["I"] * np.cos(v["phi"]), 127.732, 0.071),
        (lambda v: v["V"] / v["I"] * np.sin(v["phi"]), 219.847, 0.295),
        (lambda v: v["V"] / v["I"], 254.260, 0.236),
    ],
    ids=["resistance", "reactance", "impedance"],
)
def test_resistance_and_reactance_of_jcgm_100_h_2(formula, value, u):
    model = correlated(H2, formula, H2_TOGETHER)
    linear = budget(model, "y")
    assert linear.error == pytest.approx(value, abs=6e-4)
    # the published figures have three decimals, and the coefficients only two
    assert linear.combined == pytest.approx(u, abs=1.1e-3)
    simulated = study(model, Plan(trials=200_000), workers=1).formulas["y"]
    assert simulated.bias.value == pytest.approx(value, abs=3e-3)
    assert simulated.uncertainty.value == pytest.approx(linear.combined, rel=0.01)


def test_without_their_correlation_the_reactance_of_h_2_would_seem_far_more_certain():
    alone = budget(correlated(H2, lambda v: v["V"] / v["I"] * np.sin(v["phi"])), "y")
    # derived: u^2 of X from the three contributions of table H.2 alone
    v, i, phi = 4.9990, 19.6610e-3, 1.04446
    parts = (
        math.sin(phi) / i * 0.0032,
        v * math.sin(phi) / i**2 * 0.0095e-3,
        v / i * math.cos(phi) * 0.00075,
    )
    assert alone.combined == pytest.approx(math.sqrt(sum(c**2 for c in parts)), rel=1e-6)
    assert alone.combined < 0.7 * 0.295


@pytest.mark.parametrize("quasi", [False, True])
def test_sum_of_two_correlated_normals_has_the_variance_of_its_closed_form(quasi):
    inputs = {"a": Quantity(0.0, spread=Normal(3.0)), "b": Quantity(0.0, spread=Normal(4.0))}
    for r in (-0.99, -0.3, 0.5, 0.99):
        model = correlated(inputs, lambda v: v["a"] + v["b"], Correlation(("a", "b"), ((1.0, r), (r, 1.0))))
        exact = math.sqrt(25.0 + 24.0 * r)
        assert budget(model, "y").combined == pytest.approx(exact, rel=1e-6)
        found = study(model, Plan(trials=2**16, quasi=quasi), workers=1).formulas["y"]
        assert found.uncertainty.value == pytest.approx(exact, abs=5.0 * found.uncertainty.error)


@pytest.mark.long
def test_every_quantity_keeps_its_own_distribution_and_the_deviates_their_correlation():
    spreads = {
        "normal": (Normal(2.0), norm(0.0, 2.0).cdf),
        "rectangular": (Rectangular(1.0), lambda x: (x + 1.0) / 2.0),
        "triangular": (Triangular(1.0), lambda x: np.where(x < 0, (1 + x) ** 2 / 2, 1 - (1 - x) ** 2 / 2)),
        "arcsine": (Arcsine(1.0), lambda x: 0.5 + np.arcsin(np.clip(x, -1, 1)) / np.pi),
    }
    names = tuple(spreads)
    r = 0.7
    matrix = tuple(tuple(1.0 if i == j else r for j in range(4)) for i in range(4))
    draw = Together(Streams(3, 0, 200_000), (Correlation(names, matrix),))
    values = {name: spread.deviation(draw, name) for name, (spread, _) in spreads.items()}
    for name, (_, exact) in spreads.items():
        assert kstest(values[name], exact).pvalue > 1e-6
    # ranks do not depend on the marginals: rho = (6/pi) asin(r/2) of a normal copula (derived, well known)
    for other in names[1:]:
        rho = spearmanr(values["normal"], values[other]).statistic
        assert rho == pytest.approx(6.0 / math.pi * math.asin(r / 2.0), abs=0.01)
    medians = Together(Nominal(1), (Correlation(names, matrix),))
    assert [float(s.deviation(medians, n)[0]) for n, (s, _) in spreads.items()] == [0.0] * 4
    assert StudentT(1.0, 5.0).deviation(draw, "arcsine").shape == (200_000,)


RIG = """
[part]
length = "200 mm"
[path]
slope = { value = "30 deg", distribution = "normal", standard_uncertainty = "0.5 deg" }
friction = { value = 0.2, distribution = "normal", standard_uncertainty = 0.01, per = "rig" }
[gate]
first = { value = "400 mm", distribution = "normal", standard_uncertainty = "0.5 mm" }
spacing = { value = "80 mm", distribution = "rectangular", half_width = "0.1 mm" }
[sensor]
dark_delay = { value = "1 ms", distribution = "normal", standard_uncertainty = "20 us" }
[counter]
frequency = "1 MHz"
[formula]
use = ["known-acceleration"]
[[correlation]]
quantities = ["path.slope", "path.friction"]
coefficients = [0.95]
"""


def test_a_rig_whose_slope_and_friction_go_together_is_as_certain_as_their_difference():
    apart = RIG.replace("[0.95]", "[0.0]")
    for text, r in ((RIG, 0.95), (apart, 0.0)):
        rig = RigModel(parse_text(text))
        linear = budget(rig, "known-acceleration")
        rows = {row.name: row.contribution for row in linear.rows}
        cross = 2.0 * r * rows["path.slope"] * rows["path.friction"]
        total = sum(c**2 for c in rows.values()) + cross
        assert linear.combined == pytest.approx(math.sqrt(total), rel=1e-12)
        found = study(rig, Plan(trials=20_000), workers=1).formulas["known-acceleration"]
        assert found.uncertainty.value == pytest.approx(linear.combined, rel=0.05)
        assert found.rig_to_rig.value == pytest.approx(linear.of_level("rig"), rel=0.05)


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("[0.95]", "[1.0]", "1 for path.slope and path.friction, expected a positive definite"),
        ("[0.95]", "[1.5]", "correlation.1.coefficients.1: given 1.5"),
        ("[0.95]", "[0.5, 0.5]", "given 2 numbers, expected 1, one a pair"),
        ("coefficients = [0.95]", "", "given neither, expected either coefficients or a matrix"),
        ('"path.friction"]', '"part.length"]', "'part.length', expected a quantity that has a spread"),
        ('per = "rig"', 'per = "part"', "path.slope drawn per rig and path.friction per part"),
        ("coefficients = [0.95]", "matrix = [[1.0, 0.5], [0.4, 1.0]]", "0.5 and 0.4 for path.slope and"),
        ("coefficients = [0.95]", "matrix = [[1.0, 0.5]]", "expected 2 rows of 2 numbers"),
        (
            'quantities = ["path.slope", "path.friction"]\ncoefficients = [0.95]',
            'quantities = ["path.slope", "path.friction", "gate.first"]\ncoefficients = [0.9, 0.9, -0.9]',
            "which the other coefficients rule out, expected a positive definite correlation matrix",
        ),
        (
            "[0.95]",
            '[0.95]\n[[correlation]]\nquantities = ["path.slope", "gate.first"]\ncoefficients = [0.1]',
            "path.slope, which correlation.1 has too",
        ),
    ],
)
def test_a_correlation_that_cannot_be_is_refused_in_one_sentence(old, new, told):
    with pytest.raises(InputError) as refused:
        parse_text(RIG.replace(old, new))
    assert told in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_pair_that_is_named_is_one_without_which_the_rest_could_be():
    rng = np.random.default_rng(4)
    for _ in range(200):
        a = rng.normal(size=(5, 5))
        good = a @ a.T
        d = np.sqrt(np.diag(good))
        good = good / np.outer(d, d)
        np.fill_diagonal(good, 1.0)
        names = tuple("abcde")
        assert Correlation(names, tuple(map(tuple, good))).contradiction is None
        i, j = sorted(rng.choice(5, 2, replace=False))
        bad = good.copy()
        bad[i, j] = bad[j, i] = -0.999 * np.sign(good[i, j])
        if np.linalg.eigvalsh(bad)[0] < -0.3:  # wrong beyond doubt
            found = Correlation(names, tuple(map(tuple, bad))).contradiction
            assert found == (names[i], names[j])
