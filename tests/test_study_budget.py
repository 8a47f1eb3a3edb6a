"""The uncertainty budget: against an independent propagator, on staircases, and beside Sobol indices."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import pytest

from gatesim.ground.distribution import Normal, Rectangular, StudentT
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import Quantity
from gatesim.scenario import parse_text
from gatesim.studies.budget import COUNTING, budget, coverage_factor, effective_degrees_of_freedom
from gatesim.studies.engine import study
from gatesim.studies.indices import sobol_indices
from gatesim.studies.model import Trials
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.studies.validation import contradictions, validate, validations
from gatesim.view.budgettext import budget_text
from tests.study_models import END_GAUGE, ISHIGAMI, MASS, FormulaModel, additive


@dataclass(frozen=True)
class Counted:
    """Dwell and gate-to-gate time counted by one clock of random phase; L = s T / t_s, in SI."""

    inputs: Mapping[str, Quantity]
    length: float
    spacing: float
    frequency: float
    jitter: float
    identity: str = "counted"

    def evaluate(self, values, draw, *, quantised=True):
        speed = values["speed"]
        dwell = self.length / speed + self.jitter * draw.normal("jitter@1")
        transit = self.spacing / speed + self.jitter * draw.normal("jitter@2")
        phase = draw.uniform("phase")
        if quantised:
            dwell = np.floor(dwell * self.frequency + phase) / self.frequency
            transit = np.floor(transit * self.frequency + phase) / self.frequency
        reading = np.broadcast_to(self.spacing * dwell / transit, (draw.trials,))
        n = draw.trials
        return Trials({"y": reading}, np.full(n, self.length), np.zeros(n, np.int64))


SPEED = Quantity(1.3, unit="m/s", spread=Rectangular(0.2))


def test_contributions_equal_those_of_an_independent_linear_propagator():
    # the uncertainties package differentiates the four-edge formula analytically
    umath = pytest.importorskip("uncertainties")

    def reading(v):
        return v["s"] * v["t"] / v["ts"] * (1.0 + 0.5 * v["a"] * v["t"] * (v["t"] - v["ts"]) / v["s"])

    stated = {"s": (0.1, 2e-5), "t": (0.0613, 4e-6), "ts": (0.0522, 3e-6), "a": (1.7, 0.05)}
    model = FormulaModel({k: Quantity(x, spread=Normal(u)) for k, (x, u) in stated.items()}, reading)
    found = budget(model, "y")
    symbols = {k: umath.ufloat(x, u) for k, (x, u) in stated.items()}
    y = reading(symbols)
    assert found.error == pytest.approx(y.nominal_value, rel=1e-14)
    assert found.combined == pytest.approx(y.std_dev, rel=1e-6)
    expected = {k: abs(y.derivatives[symbols[k]]) * symbols[k].std_dev for k in stated}
    contributions = {row.name: abs(row.contribution) for row in found.rows}
    assert contributions == pytest.approx(expected, rel=1e-5)
    assert sum(row.share for row in found.rows) == pytest.approx(1.0, rel=1e-12)


def test_counting_staircase_gets_a_slope_and_a_row_of_its_own():
    model = Counted({"speed": SPEED}, 0.12, 0.1, 20e3, 10e-6)
    found = budget(model, "y")
    rows = {row.name: row for row in found.rows}
    # the speed cancels in L = s T / t_s
    assert abs(rows["speed"].contribution) < 1e-12
    # dL/dT = s/t_s = v and dL/dt_s = -s T / t_s^2 = -L v/s
    assert abs(rows["jitter@1"].contribution) == pytest.approx(1.3 * 10e-6, rel=1e-6)
    assert abs(rows["jitter@2"].contribution) == pytest.approx(1.2 * 1.3 * 10e-6, rel=1e-6)
    # each edge is rounded on its own, but gate 1 dark starts both counts: with d = count error of the
    # dwell and c of the transit, var d = var c = 1/6 and cov = 1/12 counts^2 averaged over the dwells,
    # so u = (v/f) sqrt(1/6 + r^2/6 - 2 r/12), r = L/s (derived; 1/6 as in time-interval counting texts)
    r = 1.2
    mean_speed_squared = 1.3**2 + 0.2**2 / 3.0
    expected = math.sqrt(mean_speed_squared * (1.0 + r * r - r) / 6.0) / 20e3
    assert rows[COUNTING].contribution == pytest.approx(expected, rel=0.03)
    assert not rows["phase"].matters(found.combined)
    assert rows[COUNTING].matters(found.combined)
    simulated = study(model, Plan(trials=200_000), workers=1).formulas["y"]
    assert found.combined == pytest.approx(simulated.uncertainty.value, rel=0.02)


def test_infinite_slope_is_replaced_by_the_secant_and_a_kink_shows_as_curvature():
    model = FormulaModel(
        {name: Quantity(0.0, spread=Normal(1.0)) for name in ("steep", "kink", "smooth")},
        lambda v: np.cbrt(v["steep"]) + np.maximum(v["kink"], 0.0) + 0.5 * v["smooth"],
    )
    rows = {row.name: row for row in budget(model, "y").rows}
    assert rows["steep"].secant
    assert rows["steep"].contribution == pytest.approx(1.0)
    assert rows["kink"].contribution == pytest.approx(0.5)
    assert rows["kink"].curvature == pytest.approx(0.5)
    assert not rows["smooth"].secant
    assert rows["smooth"].contribution == pytest.approx(0.5, rel=1e-9)


@dataclass(frozen=True)
class Rolling:
    """Runout of a roller at a random angle, and two equally likely pulses of chatter."""

    inputs: Mapping[str, Quantity]
    identity: str = "rolling"

    def evaluate(self, values, draw, *, quantised=True):
        runout = 3e-5 * np.sin(2.0 * np.pi * draw.uniform("angle"))
        chatter = np.where(draw.uniform("chatter") > 0.5, 4e-5, 0.0)
        reading = values["length"] + runout + chatter
        n = draw.trials
        return Trials({"y": np.broadcast_to(reading, (n,))}, np.zeros(n), np.zeros(n, np.int64))


def test_noise_that_acts_in_no_straight_line_is_simulated_alone():
    model = Rolling({"length": Quantity(0.1, spread=Normal(1e-5))})
    found = budget(model, "y")
    rows = {row.name: row for row in found.rows}
    assert rows["angle"].distribution == rows["chatter"].distribution == "simulated"
    # a full turn of a sine: amplitude over root two; two values a apart: a/2 (20,000 trials: to 1 %)
    assert rows["angle"].contribution == pytest.approx(3e-5 / math.sqrt(2.0), rel=0.03)
    assert rows["chatter"].contribution == pytest.approx(2e-5, rel=0.03)
    assert rows["length"].contribution == pytest.approx(1e-5, rel=1e-6)
    assert found.error == pytest.approx(0.1 + 2e-5, abs=2e-6)
    simulated = study(model, Plan(trials=100_000), workers=1).formulas["y"]
    assert found.combined == pytest.approx(simulated.uncertainty.value, rel=0.02)


def test_welch_satterthwaite_of_two_equal_parts():
    # JCGM 100, G.4.1: equal contributions with nu degrees of freedom each make 2 nu
    model = additive(StudentT(1.0, 4.0), StudentT(1.0, 4.0), Normal(1e-9))
    found = budget(model, "y")
    assert found.effective_degrees_of_freedom == pytest.approx(8.0, rel=1e-6)
    assert effective_degrees_of_freedom(found.rows, found.combined) == found.effective_degrees_of_freedom


@pytest.mark.parametrize(
    ("coverage", "nu", "k"),
    # JCGM 100, table G.2 (from memory, equal to scipy's own table of Student's t)
    [(0.95, 5.0, 2.57), (0.95, 10.9, 2.23), (0.99, 16.7, 2.92), (0.95, math.inf, 1.96), (0.95, 0.4, 12.71)],
)
def test_coverage_factors_of_table_g_2(coverage, nu, k):
    assert coverage_factor(coverage, nu) == pytest.approx(k, abs=0.006)


def test_budget_without_a_reading_is_refused():
    model = FormulaModel({"x": Quantity(0.0, spread=Normal(1.0))}, lambda v: v["x"] * np.nan)
    with pytest.raises(InputError, match="gives no reading"):
        budget(model, "y")


def test_validation_says_when_the_simulation_is_too_coarse_to_judge():
    model = additive(Normal(1.0), Normal(1.0))
    table = budget(model, "y")
    coarse = study(model, Plan(trials=1000), workers=1).formulas["y"]
    fine = study(model, Plan(trials=1_000_000), workers=1).formulas["y"]
    assert not validate(table, coarse, digits=2).conclusive
    assert validate(table, fine, digits=2).conclusive
    assert validate(table, fine, digits=2).valid


def test_sobol_indices_of_the_ishigami_function():
    # Ishigami and Homma (1990); values as in Saltelli et al., Global Sensitivity Analysis (2008), from memory
    found = {i.name: i for i in sobol_indices(ISHIGAMI, "y", trials=16_384).indices}
    published = {"x1": (0.3139, 0.5576), "x2": (0.4424, 0.4424), "x3": (0.0, 0.2437)}
    for name, (first, total) in published.items():
        assert found[name].first == pytest.approx(first, abs=6.0 * found[name].first_error + 1e-4)
        assert found[name].total == pytest.approx(total, abs=6.0 * found[name].total_error + 1e-4)
        assert max(found[name].first_error, found[name].total_error) < 0.01


def test_sobol_indices_show_the_interaction_that_the_linear_budget_misses():
    # JCGM 101, 9.3: air density matters only together with the density of the weight
    found = {i.name: i for i in sobol_indices(MASS, "y").indices}
    assert found["rho_a"].total > 0.4
    assert abs(found["rho_a"].first) < 6.0 * found["rho_a"].first_error + 0.01
    assert found["m_rc"].total == pytest.approx(found["m_rc"].first, abs=0.02)
    # of the variance 0.0755^2 the reference weight has 0.050^2
    assert found["m_rc"].total == pytest.approx((0.050 / 0.0755) ** 2, abs=0.01)


def test_a_budget_that_takes_an_interaction_for_nothing_is_contradicted():
    # x1 x2 about zero: both slopes are zero, and both variances come to 1 with each other (derived)
    spread = {name: Quantity(0.0, spread=Normal(1.0)) for name in ("x1", "x2", "x3")}
    model = FormulaModel(spread, lambda v: v["x1"] * v["x2"] + 0.1 * v["x3"])
    table, indices = budget(model, "y"), sobol_indices(model, "y", trials=4096, workers=1)
    assert sorted(i.name for i in contradictions(table, indices)) == ["x1", "x2"]
    assert "The budget does not hold: x1" in budget_text(table, *_study(model, table), indices)
    straight = FormulaModel(spread, lambda v: v["x1"] + v["x2"] + 0.0 * v["x3"])
    table, indices = budget(straight, "y"), sobol_indices(straight, "y", trials=4096, workers=1)
    assert contradictions(table, indices) == []


def _study(model, table):
    simulated = study(model, Plan(trials=20_000), workers=1).formulas["y"]
    return simulated, validations(table, simulated)


RIDE = """
[part]
length = "{length} mm"
[path]
release_speed = {{ value = "0.8 m/s", distribution = "rectangular", half_width = "0.05 m/s" }}
[gate]
first = "100 mm"
spacing = "120 mm"
rearm = "400 mm"
[counter]
frequency = "10 MHz"
{counter}
[formula]
use = ["spacing-dwell"]
{tables}
"""

SAMPLING = {
    "scan of the controller": ('timing = { kind = "polled", cycle = "1.3 ms" }', ""),
    "sampling of the pulsed light": ("", '[sensor]\nsampling_period = "0.9 ms"\nsamples_in_row = 2\n'),
    "sampling of the input filter": (
        "",
        '[filter]\nkind = "majority"\nperiod = "0.7 ms"\nsamples = 3\nneeded = 2\n',
    ),
}


@pytest.mark.long
@pytest.mark.parametrize("stage", SAMPLING)
def test_a_stage_that_samples_has_a_row_and_the_sum_is_that_of_an_independent_simulation(stage):
    counter, tables = SAMPLING[stage]
    scenario = parse_text(RIDE.format(length=90, counter=counter, tables=tables))
    table = budget(RigModel(scenario), "spacing-dwell")
    # independent: a level path without friction; every edge waits for the next sample of its own phase,
    # the phase of the gate (of the controller's scan: one for all), and as long again for each further one
    rng, n = np.random.default_rng(3), 400_000
    speed = rng.uniform(0.75, 0.85, n)
    period = 1e-3 * next(p for word, p in (("scan", 1.3), ("light", 0.9), ("filter", 0.7)) if word in stage)
    phases = rng.uniform(size=(2, n))
    if "scan" in stage:
        phases[1] = phases[0]
    at = [np.array([0.1, 0.19]), np.array([0.22, 0.31])]
    edges = [
        (np.ceil(np.outer(x, 1.0 / speed) / period - phase) + phase) * period
        for x, phase in zip(at, phases, strict=True)
    ]
    reading = 0.12 * (edges[0][1] - edges[0][0]) / (edges[1][0] - edges[0][0])
    assert table.combined == pytest.approx(float(np.std(reading)), rel=0.02)
    row = max(table.rows, key=lambda row: row.contribution)
    assert row.name == stage
    assert all("phase" not in other.name or other.name == "counter.phase" for other in table.rows)


def test_sobol_indices_include_the_noise_drawn_inside_the_chain():
    model = Counted({"speed": SPEED}, 0.12, 0.1, 20e3, 50e-6)
    found = {i.name: i for i in sobol_indices(model, "y").indices}
    assert set(found) == {"speed", "jitter@1", "jitter@2", "phase"}
    ratio = found["jitter@2"].total / found["jitter@1"].total
    assert ratio == pytest.approx(1.2**2, rel=0.1)


@pytest.mark.long
@pytest.mark.parametrize("model", [END_GAUGE, MASS], ids=["H.1", "9.3"])
def test_first_order_indices_of_a_linear_model_are_its_shares_of_variance(model):
    found = sobol_indices(model, "y", trials=16_384)
    table = budget(model, "y")
    shares = {row.name: row.share for row in table.rows}
    u = study(model, Plan(trials=200_000), workers=1).formulas["y"].uncertainty.value
    for index in found.indices:
        q = model.inputs[index.name]
        linear = shares[index.name] * (table.combined / u) ** 2
        if isinstance(q.spread, StudentT):  # the distribution is wider than the u of JCGM 100
            linear *= (q.std / q.spread.scale) ** 2
        assert index.first == pytest.approx(linear, abs=6.0 * index.first_error + 0.02)


def test_one_draw_has_all_the_variance_to_itself():
    # S1 = ST = 1: with one draw there is nothing to interact with (Saltelli et al. 2010, by definition)
    found = sobol_indices(additive(Normal(1.0)), "y", trials=2048)
    (index,) = found.indices
    assert index.first == pytest.approx(1.0, abs=5.0 * index.first_error + 1e-9)
    assert index.total == pytest.approx(1.0, abs=5.0 * index.total_error + 1e-9)
    assert max(index.first_error, index.total_error) < 0.05


def test_without_a_draw_there_is_nothing_to_split_or_to_validate():
    model = FormulaModel({}, lambda values: np.asarray(1e-3))
    with pytest.raises(InputError, match="the error does not vary"):
        sobol_indices(model, "y", trials=2048)
    table = budget(model, "y")
    simulated = study(model, Plan(trials=2000), workers=1).formulas["y"]
    assert table.combined == 0.0
    assert validations(table, simulated) == []
    text = budget_text(table, simulated, [], None)
    assert "there is nothing to validate: the error does not vary" in text
    assert "holds" not in text
