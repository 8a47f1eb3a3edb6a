"""Text, JSON, CSV and figures say what the result holds."""

import csv
import io
import json
import math
from dataclasses import dataclass

import numpy as np
import pytest
from scipy.stats import norm

from gatesim.api.budget import Budget
from gatesim.ground.data import data_of
from gatesim.ground.distribution import Normal
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.ground.quantity import Quantity
from gatesim.studies.budget import budget
from gatesim.studies.engine import study
from gatesim.studies.indices import sobol_indices
from gatesim.studies.model import Trials
from gatesim.studies.plan import Plan
from gatesim.studies.sweep import SweptQuantity, sweep
from gatesim.studies.trials import trials_writer
from gatesim.studies.until import Until, parse_until
from gatesim.studies.validation import validate
from gatesim.studies.workers import InThisProcess
from gatesim.view.budgettext import budget_text
from gatesim.view.histogram import histogram
from gatesim.view.number import decimals_for, percent, with_error
from gatesim.view.studytext import study_text
from gatesim.view.style import save
from gatesim.view.sweepchart import sweep_chart
from gatesim.view.sweeptext import sweep_text
from tests.study_models import MASS, FormulaModel


def millimetre(values):
    y = 1e-3 * values["x"]
    return np.where(y > -2e-3, y, np.nan)


MODEL = FormulaModel({"x": Quantity(0.25, spread=Normal(1.0))}, millimetre)


@pytest.fixture(scope="module")
def result():
    return study(MODEL, Plan(trials=40_000), executor=InThisProcess())


@pytest.mark.parametrize(
    ("value", "error", "text"),
    # JCGM 100, 7.2.2, way 2: m_S = 100,021 47(35) g
    [
        (100.02147, 0.00035, "100.02147(35)"),
        (-1.5, 0.25, "-1.50(25)"),
        (3.0, 120.0, "3(120)"),
        (0.35019, 0.000998, "0.3502(10)"),
    ],
)
def test_uncertainty_in_brackets_as_in_jcgm_100_7_2_2(value, error, text):
    assert with_error(value, error) == text


def test_shares_near_the_ends_keep_their_digits():
    assert [percent(s) for s in (0.0, 0.00012, 0.25, 0.99988, 1.0)] == [
        "0 %", "0.012 %", "25.0 %", "99.988 %", "100 %",
    ]  # fmt: skip


def test_text_and_json_hold_the_same_figures(result):
    found = result.formulas["y"]
    text, data = study_text(result), json.loads(json.dumps(data_of(result), allow_nan=False))
    assert data["trials"] == 40_000
    assert data["error"]["y"]["bias"]["value"] == found.bias.value
    assert data["error"]["y"]["symmetric_interval"][0]["value"] == found.low.value
    assert data["outcomes"]["measured"]["share"] == result.outcomes["measured"].share
    assert with_error(found.bias.value, found.bias.error, 1e3) in text
    assert f"{found.readings:,}" in text


def test_csv_has_a_row_a_trial_and_nothing_where_there_is_no_reading():
    file = io.StringIO()
    plan = Plan(trials=12_000)
    result = study(MODEL, plan, executor=InThisProcess(), sink=trials_writer(file))
    rows = list(csv.DictReader(io.StringIO(file.getvalue())))
    assert [int(row["trial"]) for row in rows] == list(range(1, 12_001))
    readings = [float(row["reading y / m"]) for row in rows if row["reading y / m"]]
    assert len(readings) == result.formulas["y"].readings < 12_000
    assert math.fsum(readings) / len(readings) == pytest.approx(result.formulas["y"].bias.value, rel=1e-12)
    assert {row["outcome"] for row in rows} == {"measured"}


def test_budget_text_and_json_hold_the_table():
    table = budget(MASS, "y")
    simulated = study(MASS, Plan(trials=50_000), executor=InThisProcess()).formulas["y"]
    checks = [validate(table, simulated, digits) for digits in (1, 2)]
    indices = sobol_indices(MASS, "y", trials=2048)
    text = budget_text(table, simulated, checks, indices)
    data = json.loads(
        json.dumps(
            data_of(
                Budget.of(
                    table,
                    monte_carlo=simulated,
                    validation=checks,
                    indices=indices,
                    contradicted=["rho_w"],
                    ended="complete",
                )
            ),
            allow_nan=False,
        )
    )
    assert [row["quantity"] for row in data["rows"]] == [row.name for row in table.rows]
    assert data["effective_degrees_of_freedom"] == "infinite"
    assert data["contradicted_by_sobol_indices"] == ["rho_w"]
    assert "does not hold" in text
    assert all(name in text for name in MASS.inputs)
    shares = [row["share_of_variance"] for row in data["rows"]]
    assert math.fsum(shares) == pytest.approx(1.0)


def at(values):
    inputs = {"x": Quantity(values["gap"], spread=Normal(values.get("wide", 1.0)))}
    return FormulaModel(inputs, millimetre)


@pytest.mark.long
def test_sweep_text_json_and_charts():
    plan = Plan(trials=2000)
    gap = SweptQuantity("gap", np.linspace(0.0, 2.0, 5), "mm")
    wide = SweptQuantity("wide", np.geomspace(0.1, 10.0, 4), "", True)
    one, two = sweep(at, [gap], plan, workers=1), sweep(at, [gap, wide], plan, workers=1)
    for show in ("bias", "uncertainty", "yield"):
        text = sweep_text(one, "y", show)
        assert len(text.splitlines()) == 3 + 5
        axes = sweep_chart(one, "y", show)
        assert axes.get_xlabel() == "gap / mm"
        assert axes.get_ylabel().endswith(("mm", "%"))
        drawn = axes.lines[0].get_ydata()
        expected = (100.0 if show == "yield" else 1e3) * one.formulas["y"][show]
        assert np.array_equal(drawn, expected)
        sweep_chart(two, "y", show).get_figure().canvas.draw()
    data = json.loads(json.dumps(data_of(two), allow_nan=False))
    assert np.shape(data["error"]["y"]["bias"]) == (5, 4)


def lost(values):
    """Nothing is read beyond a gap of 1."""
    inputs = {"x": Quantity(0.0, spread=Normal(1e-3))}
    return Lost(inputs, lambda v: v["x"] + values["gap"], limit=1.0)


@dataclass(frozen=True)
class Lost(FormulaModel):
    limit: float = 0.0

    def evaluate(self, values, draw, *, quantised=True):
        found = super().evaluate(values, draw, quantised=quantised)
        gone = found.readings["y"] > self.limit
        code = np.where(gone, Outcome.SWALLOWED, Outcome.MEASURED)
        return Trials({"y": np.where(gone, np.nan, found.readings["y"])}, found.true_length, code)


@pytest.mark.parametrize("show", ["bias", "uncertainty"])
def test_points_without_a_reading_say_what_became_of_the_parts(show):
    values = np.array([0.5, 1.5, 2.0])
    some = sweep(lost, [SweptQuantity("gap", values)], Plan(trials=200), workers=1)
    none = sweep(lost, [SweptQuantity("gap", values + 1.0)], Plan(trials=200), workers=1)
    assert sweep_text(some, "y", show).count("- no reading: part swallowed") == 2
    assert "nan" not in sweep_text(none, "y", show)
    data = json.loads(json.dumps(data_of(some), allow_nan=False))
    assert data["error"]["y"][show][1:] == [None, None]
    assert data["error"]["y"]["yield"] == [1.0, 0.0, 0.0]
    assert data["most_frequent_outcome"] == ["measured", "part swallowed", "part swallowed"]
    axes = sweep_chart(none, "y", show)
    assert [text.get_text() for text in axes.texts] == ["no reading: part swallowed"]
    low, high = axes.get_xlim()
    assert 1.4 < low < 1.5
    assert 3.0 < high < 3.1
    said = [text.get_text() for text in sweep_chart(some, "y", show).get_legend().get_texts()]
    assert "no reading: part swallowed" in said
    sides = [SweptQuantity("gap", values), SweptQuantity("other", np.array([1.0, 2.0]))]
    assert (
        "no reading: part swallowed"
        in sweep_chart(sweep(lost, sides, Plan(trials=50), workers=1), "y", show).get_title()
    )


def test_yield_is_of_the_formula_that_is_shown():
    # every part is measured, yet this formula has no reading below -2 mm: normal tail of 2.25 sigma
    found = study(MODEL, Plan(trials=40_000), executor=InThisProcess())
    good = found.formulas["y"].good
    assert found.outcomes["measured"].share == 1.0
    assert good.low < norm.cdf(2.25) < good.high


def test_ends_of_the_shortest_interval_are_rounded_where_their_error_is_not_known():
    few = study(MODEL, Plan(trials=300), executor=InThisProcess())
    found = few.formulas["y"]
    assert math.isnan(found.shortest_low.error)
    places = decimals_for(1e3 * found.low.error)
    assert f" {1e3 * found.shortest_low.value:.{places}f} " in study_text(few)
    assert f"{1e3 * found.shortest_low.value:.6f}" not in study_text(few)


def test_histogram_shows_the_numbers_it_names(result, tmp_path):
    axes = histogram(result, "y", lower_limit=-1e-3, upper_limit=2e-3)
    found = result.formulas["y"]
    said = " ".join(text.get_text() for text in axes.get_legend().get_texts())
    assert f"bias {1e3 * found.bias.value:+.4f} mm" in said
    assert "tolerance limits -1 and 2 mm" in said
    # the area under the steps is the share of readings within the abscissa
    steps = axes.patches[0].get_data()
    area = float(np.sum(steps.values * np.diff(steps.edges)))
    assert area == pytest.approx(0.999, abs=0.001)
    target = tmp_path / "figure.png"
    save(axes, target)
    assert target.stat().st_size > 10_000
    with pytest.raises(InputError, match="cannot be written"):
        save(axes, tmp_path / "figure.nonsense")


def test_figures_of_nothing_say_so():
    model = FormulaModel(MODEL.inputs, lambda v: v["x"] * np.nan)
    empty = study(model, Plan(trials=500), executor=InThisProcess())
    axes = histogram(empty, "y")
    assert [t.get_text() for t in axes.texts] == ["no readings"]
    assert "-" in study_text(empty)
    json.dumps(data_of(empty), allow_nan=False)


def test_until_is_read_or_refused_in_one_sentence():
    assert parse_until("0.1%") == Until(relative=0.001)
    assert parse_until("2") == Until(digits=2)
    for wrong in ("", "0%", "200%", "0", "7", "fast", "0.1"):
        with pytest.raises(InputError, match="--until"):
            parse_until(wrong)
