"""Worked examples of JCGM 100 and JCGM 101, through the engine that studies rigs.

Values of JCGM 101 clauses 9.2 and 9.3 from memory, confirmed by independent simulation; those of
JCGM 100 H.1 read in the worked copies of the example in two open uncertainty calculators.
"""

import pytest

from gatesim.ground.distribution import Normal
from gatesim.studies.budget import budget
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.until import Until, tolerance_of_digits
from gatesim.studies.validation import validate
from tests.study_models import END_GAUGE, GAUGE_BLOCK, MASS, additive, unit_rectangular

MILLION = Plan(trials=1_000_000)
WIDE = (unit_rectangular(10.0), *[unit_rectangular()] * 3)


@pytest.mark.parametrize(
    ("spreads", "u", "monte_carlo", "linear", "holds"),
    [
        # JCGM 101, 9.2.2: four normal
        ([Normal(1.0)] * 4, 2.0, 3.92, 3.92, True),
        # JCGM 101, 9.2.3: four rectangular
        ([unit_rectangular()] * 4, 2.0, 3.88, 3.92, True),
        # JCGM 101, 9.2.4: one of them ten times as wide
        (WIDE, 10.1, 17.0, 19.9, False),
    ],
    ids=["9.2.2", "9.2.3", "9.2.4"],
)
def test_additive_models_of_jcgm_101_9_2(spreads, u, monte_carlo, linear, holds):
    model = additive(*spreads)
    found = study(model, MILLION, workers=1).formulas["y"]
    assert found.bias.value == pytest.approx(0.0, abs=5.0 * found.bias.error)
    # the printed value is rounded to half its last digit
    rounding = 0.005 if u < 10.0 else 0.05
    assert found.uncertainty.value == pytest.approx(u, abs=rounding + 5.0 * found.uncertainty.error)
    for end, sign in ((found.low, -1.0), (found.high, 1.0)):
        assert end.value == pytest.approx(sign * monte_carlo, abs=10.0 * rounding / 5.0 + 5.0 * end.error)
    table = budget(model, "y")
    assert table.combined == pytest.approx(u, abs=rounding)
    assert table.expanded == pytest.approx(linear, abs=rounding)
    # u to two digits, so delta is 0.05, 0.05 and 0.5: the framework is validated for the first two only
    verdict = validate(table, found, digits=2)
    assert verdict.tolerance == (0.5 if u > 10.0 else 0.05)
    assert verdict.conclusive
    assert verdict.valid is holds


def test_mass_calibration_of_jcgm_101_9_3():
    # clause 9.3: 1.2341 mg, 0.0754 mg, shortest 95 % [1.0834, 1.3825] mg
    found = study(MASS, MILLION, workers=1).formulas["y"]
    assert found.bias.value == pytest.approx(1.2341, abs=0.00005 + 5.0 * 2**0.5 * found.bias.error)
    assert found.uncertainty.value == pytest.approx(
        0.0754, abs=0.00005 + 5.0 * 2**0.5 * found.uncertainty.error
    )
    length = found.shortest_high.value - found.shortest_low.value
    assert length == pytest.approx(1.3825 - 1.0834, abs=0.0005)
    # the ends themselves wander with the cube root of the number of trials, here and in the clause
    assert found.shortest_low.value == pytest.approx(1.0834, abs=4.0 * 2**0.5 * found.shortest_low.error)
    assert found.shortest_high.value == pytest.approx(1.3825, abs=4.0 * 2**0.5 * found.shortest_high.error)


@pytest.mark.long
def test_first_order_budget_of_jcgm_101_9_3_is_far_too_small():
    table = budget(MASS, "y")
    assert table.combined == pytest.approx(0.0539, abs=0.00005)
    rows = {row.name: row for row in table.rows}
    # the densities have sensitivity zero at equal nominal densities: that is why it is too small
    assert all(abs(rows[name].contribution) < 1e-9 for name in ("rho_a", "rho_w", "rho_r"))
    verdict = validate(table, study(MASS, MILLION, workers=1).formulas["y"], digits=1)
    assert verdict.conclusive
    assert not verdict.valid


def test_end_gauge_budget_of_jcgm_100_h_1():
    table = budget(END_GAUGE, "y", coverage=0.99)
    assert table.error == pytest.approx(50_000_838.0, abs=0.5)
    contributions = {row.name: abs(row.contribution) for row in table.rows}
    expected = {"l_s": 25.0, "d_theta": 16.599, "d2": 6.7, "d0": 5.8, "d1": 3.9, "d_alpha": 2.88679}
    # the length itself has a rounding error of 7e-9 nm in float64, which the slopes inherit
    assert {name: contributions[name] for name in expected} == pytest.approx(expected, abs=2e-3)
    assert max(contributions[name] for name in ("alpha_s", "theta_bar", "cycle")) < 2e-3
    assert table.combined == pytest.approx(32.0, abs=0.5)
    assert int(table.effective_degrees_of_freedom) == 16  # H.1.6
    assert table.coverage_factor == pytest.approx(2.92, abs=0.005)  # t_99(16)
    assert table.expanded == pytest.approx(93.0, abs=0.6)  # H.1.6, from rounded 32 nm and 2.92


@pytest.mark.long
def test_gauge_block_of_jcgm_101_9_5():
    # clause 9.5.4 (from memory): 838 nm beyond 50 mm, u = 36 nm, shortest 99 % [745, 932] nm; the law
    # of propagation alone gives 32 nm, as in JCGM 100
    found = study(GAUGE_BLOCK, Plan(trials=1_000_000, coverage=0.99), workers=1).formulas["y"]
    assert found.bias.value - 5e7 == pytest.approx(838.0, abs=0.5)
    assert found.uncertainty.value == pytest.approx(36.0, abs=0.5)
    for end, printed in ((found.shortest_low, 745.0), (found.shortest_high, 932.0)):
        assert end.value - 5e7 == pytest.approx(printed, abs=0.5 + 4.0 * end.error)
    assert budget(GAUGE_BLOCK, "y", coverage=0.99).combined == pytest.approx(32.0, abs=0.5)


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    # JCGM 101, 7.9.2, examples 1 and 2: 0.032 g to two digits, 2 K to one; and rounding upwards
    [(0.032e-3, 2, 0.0005e-3), (2.0, 1, 0.5), (0.0999, 1, 0.05), (10.1, 3, 0.05)],
)
def test_numerical_tolerance_of_jcgm_101_7_9_2(u, digits, delta):
    assert tolerance_of_digits(u, digits) == pytest.approx(delta, rel=1e-12)


@pytest.mark.long
def test_adaptive_rule_stops_when_averages_have_settled():
    model = additive(*[unit_rectangular()] * 4)
    coarse = study(model, Plan(trials=10_000_000, until=Until(digits=2)), workers=1)
    fine = study(model, Plan(trials=10_000_000, until=Until(relative=0.005)), workers=1)
    assert coarse.ended == fine.ended == "tolerance reached"
    assert coarse.trials <= fine.trials < 10_000_000
    found = fine.formulas["y"]
    # twice the standard deviation of each figure is at most the tolerance of 0.01 (clause 7.9.4)
    assert 2.0 * max(found.bias.error, found.uncertainty.error, found.low.error, found.high.error) < 0.015
    capped = study(model, Plan(trials=200_000, until=Until(relative=0.0005)), workers=1)
    assert capped.ended == "most trials reached, tolerance not"
    assert capped.trials == 200_000
