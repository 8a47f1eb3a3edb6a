"""Numbers people can read: units of a budget, digits of a column, ticks apart, gross points at the border."""

import re
from types import SimpleNamespace

import numpy as np
import pint
import pytest
from click.testing import CliRunner

import gatesim
from gatesim.commands.main import cli
from gatesim.explanation.breakdown import Contribution
from gatesim.ground.distribution import Normal
from gatesim.ground.quantity import Quantity, is_length, si_factor
from gatesim.ground.text import mm
from gatesim.ground.unitfactors import COMMON_UNITS
from gatesim.shopfloor.typeone import type_one
from gatesim.studies.budget import budget
from gatesim.studies.convention import CONVENTIONS
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.studies.sweep import SweepResult, SweptQuantity, sweep
from gatesim.view.lengthunit import UNITS, restated
from gatesim.view.number import at_places, common_places, fixed
from gatesim.view.qualifychart import run_chart
from gatesim.view.reporttables import waterfall_bars
from gatesim.view.style import MOST_TICKS, log_ticks, new_axes
from gatesim.view.sweepchart import sweep_chart
from gatesim.view.sweeptext import sweep_text
from tests.study_models import FormulaModel
from tests.texts import drawn_texts, outside, overlapping

# An invented chute; its numbers serve as input only
CHUTE = """
title = "invented chute"
[part]
length = "120 mm"
[path]
slope = { value = "30 deg", distribution = "normal", standard_uncertainty = "0.25 deg" }
[gate]
first = { value = "0.2 m", distribution = "normal", standard_uncertainty = "0.5 mm" }
spacing = { value = "80 mm", distribution = "rectangular", half_width = "0.05 mm" }
[sensor]
jitter = "20 us"
[sensor.gate2]
jitter = "JITTER"
[counter]
frequency = { value = "1 MHz", distribution = "normal", standard_uncertainty = "20 Hz" }
[formula]
use = ["spacing-dwell"]
"""


def rows_of(text):
    """Rows of the budget's table by the name of their quantity."""
    lines = [re.split(r"\s{2,}", line.strip()) for line in text.splitlines()]
    return {cells[0]: cells[1:] for cells in lines if len(cells) == 9}


def rig(jitter):
    return gatesim.parse(CHUTE.replace("JITTER", jitter), "chute.toml")


@pytest.fixture(scope="module")
def chute():
    return gatesim.budget(rig("20 us"), trials=1000, workers=1)


@pytest.mark.long
def test_factors_to_si_are_those_of_pint():
    registry = pint.UnitRegistry()
    for unit in COMMON_UNITS:
        by_pint = registry.Quantity(1.0, unit.replace("%", "percent")).to_base_units()
        assert si_factor(unit) == pytest.approx(by_pint.magnitude, rel=1e-12), unit
        assert is_length(unit) == (by_pint.dimensionality == {"[length]": 1}), unit


def test_budget_has_quantities_in_the_unit_of_the_scenario(chute):
    rows = rows_of(str(chute))

    assert rows["gate.first"][:3] == ["0.20000", "0.00050", "m"]
    assert rows["gate.spacing"][:3] == ["80.000", "0.029", "mm"]  # 0.05 mm / sqrt 3
    assert rows["sensor.edge_jitter"][:3] == ["0", "20", "us"]


def test_sensitivity_times_uncertainty_is_the_contribution_in_any_unit(chute):
    for unit in (None, "mm", "um", "in"):
        rows = rows_of(chute.text(unit))
        for name in ("gate.first", "gate.spacing", "sensor.edge_jitter"):
            _, u, _, _, _, slope, contribution, _ = rows[name]
            assert float(u) * float(slope) == pytest.approx(float(contribution), rel=0.04), (unit, name)
    assert rows["gate.spacing"][2] == rows["gate.first"][2] == "in"
    assert float(rows["gate.first"][0]) == pytest.approx(200 / 25.4, abs=0.01)
    places = {len(cells[6].partition(".")[2]) for cells in rows.values() if cells[6][-1].isdigit()}
    assert len(places) == 1


def test_jitter_is_one_row_with_its_time_and_two_where_gates_differ():
    one, two = (budget(RigModel(rig(jitter)), "spacing-dwell") for jitter in ("20 us", "5 us"))
    (row,) = [row for row in one.rows if "jitter" in row.name]
    assert (row.name, row.unit) == ("sensor.edge_jitter", "us")
    assert row.u == pytest.approx(20e-6, rel=1e-12)
    apart = [row for row in two.rows if "jitter" in row.name]
    second, first = sorted(apart, key=lambda row: row.u)
    assert (second.u, first.u) == pytest.approx((5e-6, 20e-6), rel=1e-12)
    # gate 2 jitters four times as much in the first rig; independent contributions add in squares
    both = np.hypot(first.contribution, 4.0 * second.contribution)
    assert row.contribution == pytest.approx(both, rel=1e-6)


def test_a_column_has_one_number_of_decimals():
    assert common_places([0.012, 0.5, 0.0031]) == 3
    assert at_places(-17.5951, 0.0131, 3) == "-17.595(13)"
    assert at_places(1.0, 0.00001, 3) == "1.000"
    assert fixed(-0.0004, 3) == fixed(0.0004, 3, "+") == "0.000"
    assert fixed(float("nan"), 3) == "-"


def model(values):
    inputs = {"x": Quantity(values["gap"], spread=Normal(1e-4))}
    return FormulaModel(inputs, lambda v: np.asarray(v["x"]) ** 2)


def test_a_sweep_has_even_digits_and_lengths_in_the_unit_asked_for():
    found = sweep(model, [SweptQuantity("gap", np.linspace(0.0, 0.3, 4), "cm")], Plan(trials=300), workers=1)
    assert [line.split()[0] for line in sweep_text(found, "y", "bias").splitlines()[3:]] == [
        "0.0", "0.1", "0.2", "0.3",
    ]  # fmt: skip
    inches = sweep_text(found, "y", "bias", UNITS["in"])
    assert "gap / in" in inches
    assert "bias / in" in inches
    columns = [line.split() for line in inches.splitlines()[3:]]
    assert float(columns[-1][0]) == pytest.approx(0.3 / 2.54, abs=1e-4)
    for column in zip(*columns, strict=True):
        assert len({len(cell.partition("(")[0].partition(".")[2]) for cell in column}) == 1
    assert restated("deg", UNITS["in"]) == ("deg", 1.0)


SPANS = [(1.0, 1e6), (0.9, 1.3), (3.0, 40.0), (1e-3, 2.0), (10.0, 1000.0), (1.0, 1e14)]


@pytest.mark.long
@pytest.mark.parametrize("span", SPANS)
def test_log_axes_have_few_plain_ticks_that_do_not_overlap(span):
    for side in ("xaxis", "yaxis"):
        axes = new_axes(6.0, 4.0)
        log_ticks(getattr(axes, side), *span)
        (axes.set_xlim if side == "xaxis" else axes.set_ylim)(*span)
        assert overlapping(drawn_texts(axes.figure)) == []
        ticks = getattr(axes, side).get_majorticklocs()
        assert 2 <= len(ticks) <= MOST_TICKS
        assert span[0] <= min(ticks) <= max(ticks) <= span[1]


def line_of(values, outcome="measured"):
    values = np.asarray(values, dtype=float)
    columns = ("bias_error", "uncertainty", "uncertainty_error", "yield", "yield_low", "yield_high")
    table = {"bias": values, "low": values - 1e-4, "high": values + 1e-4}
    table |= {name: np.full(values.shape, 1e-4) for name in columns}
    words = np.full(values.shape, outcome, dtype=object)
    sides = zip("xy", values.shape, strict=False)
    axes = [SweptQuantity(name, np.arange(float(n)), "mm") for name, n in sides]
    return SweepResult(axes, {"y": table}, words, Plan(trials=100), interrupted=False)


def test_a_gross_point_is_marked_at_the_border_and_the_rest_keeps_its_scale():
    values = 1e-3 * np.sin(np.arange(20.0))
    values[7] = -0.24
    axes = sweep_chart(line_of(values), "y", "bias")
    low, high = axes.get_ylim()
    assert -6.0 < low < -0.9
    assert 0.9 < high < 6.0
    said = [text.get_text() for text in axes.get_legend().get_texts()]
    assert "off the scale, as far as -240" in said
    (mark,) = [line for line in axes.lines if line.get_marker() == "v"]
    assert list(mark.get_xdata()) == [7.0]
    steep = sweep_chart(line_of(1e-3 / np.arange(1.0, 21.0)), "y", "bias")
    assert steep.get_ylim()[1] > 1.0  # a steep end is no gross point


def test_the_tolerance_band_is_in_the_picture_of_a_sweep():
    result = line_of(1e-3 * np.linspace(-1.0, 1.0, 9))
    band = sweep_chart(result, "y", "bias", allowed=np.full(9, 0.5e-3))
    limits = [line for line in band.lines if line.get_linestyle() == "-."]
    assert sorted(float(line.get_ydata()[0]) for line in limits) == pytest.approx([-0.5, 0.5])
    # what the bias leaves for twice the standard uncertainty: (0.5 mm - |bias|) / 2
    beside = sweep_chart(result, "y", "uncertainty", allowed=np.full(9, 0.5e-3))
    (left,) = [line for line in beside.lines if line.get_linestyle() == "-."]
    assert float(left.get_ydata()[4]) == pytest.approx(0.25)
    far = sweep_chart(result, "y", "bias", allowed=np.full(9, 1.0))
    assert max(far.get_ylim()) < 10.0
    assert any("off the scale" in text.get_text() for text in far.get_legend().get_texts())


def test_a_single_odd_cell_of_a_map_gets_no_line_but_keeps_its_colour():
    x, y = np.meshgrid(np.arange(9.0), np.arange(7.0), indexing="ij")
    values = 1e-4 * (x + 0.01 * y)
    values[4, 3] = 9e-3
    axes = sweep_chart(line_of(values), "y", "bias", allowed=np.full(values.shape, 0.75e-3))
    mesh = axes.collections[0]
    assert np.allclose(np.asarray(mesh.get_array()).T, 1e3 * values)
    lines = axes.collections[1]
    # all levels but one lie above the plain cells: they would be rings about the odd one
    assert sum(len(path.vertices) for path in lines.get_paths()) == 0
    assert len(axes.texts) == 0
    smooth = sweep_chart(line_of(1e-3 * (x + 0.01 * y)), "y", "bias")
    assert sum(len(path.vertices) for path in smooth.collections[1].get_paths()) > 0
    (hatched,) = [patch for patch in axes.patches if patch.get_edgecolor()[:3] == (0.0, 0.0, 0.0)]
    assert hatched.get_path().contains_point((4, 3))
    whites = [patch for patch in axes.patches if patch is not hatched]
    inside = [whites[0].get_path().contains_point((i, j)) for i, j in ((1, 1), (4, 3), (8, 3))]
    assert inside == [False, False, True]
    assert "hatched: bias and 2 u beyond what the requirement allows" in axes.get_title()
    assert overlapping(drawn_texts(axes.figure)) == []


@pytest.mark.long
@pytest.mark.parametrize("rates", ["2:12:6", "20:900:6"])
def test_feed_figure_keeps_its_text_inside_and_apart(rates):
    chute = gatesim.load("scenarios/2-chute-slat.toml")
    axes = gatesim.feed(chute, parts=200, rates=rates, workers=1).plot()
    texts = drawn_texts(axes.figure)
    assert outside(texts, axes.figure.bbox) == []
    assert overlapping(texts) == []
    box = axes.get_window_extent()
    shown = {text.get_text() for text in axes.texts}
    for text, drawn in texts:
        if text in shown:
            assert box.x0 <= drawn.x0
            assert drawn.x1 <= box.x1


def test_study_and_histogram_have_the_unit_asked_for():
    found = gatesim.study(rig("20 us"), trials=400, workers=1)
    inch = found.text("in")
    assert "Error of the reading / in" in inch
    assert not re.search(r"\bmm\b", inch)
    axes = found.plot(unit="in")
    assert axes.get_xlabel() == "reading / in"
    edges = axes.patches[0].get_data().edges
    assert np.median(edges) == pytest.approx(39.3701 * (0.12 + found.bias), abs=0.02)
    assert overlapping(drawn_texts(axes.figure)) == []
    refused = CliRunner().invoke(cli, ["study", "x.toml", "--unit", "furlong"])
    assert refused.exit_code != 0


def test_a_gross_indication_does_not_flatten_the_run_chart():
    rng = np.random.default_rng(1)
    readings = 0.24 + 2e-5 * rng.standard_normal(40)
    readings[11] = 0.252
    study = type_one(readings, 0.24, 1e-3, CONVENTIONS["iso"])
    axes = run_chart(study, readings)
    assert axes.get_ylim()[1] < 241.0
    (mark,) = [line for line in axes.lines if line.get_marker() == "^"]
    assert list(mark.get_xdata()) == [12.0]
    assert "off, to 252" in [text.get_text() for text in axes.get_legend().get_texts()]
    assert overlapping(drawn_texts(axes.figure)) == []


@pytest.mark.long
def test_a_jitter_that_spreads_is_still_new_with_every_edge():
    """A spread of a thousandth changes nothing; the jitter of the edges is no value of the rig."""
    spread = '{ value = "200 us", distribution = "normal", standard_uncertainty = "0.2 us" }'
    plain, spreads = (
        gatesim.parse(CHUTE.replace('jitter = "20 us"', f"jitter = {j}").replace('"JITTER"', j), "chute.toml")
        for j in ('"200 us"', spread)
    )
    one, other = (gatesim.study(each, trials=8000, workers=1).figures for each in (plain, spreads))
    assert other.repeatability.value == pytest.approx(one.repeatability.value, rel=0.05)
    assert other.rig_to_rig.value == pytest.approx(one.rig_to_rig.value, rel=0.15)
    rows = {row.name: row for row in budget(RigModel(spreads), "spacing-dwell").rows}
    assert rows["sensor.edge_jitter"].u == pytest.approx(200e-6, rel=1e-9)
    assert "sensor.jitter@1" in rows or "sensor.jitter" in rows


@pytest.mark.parametrize(
    ("metres", "text"),
    [
        (0.26, "260 mm"),
        (3.2e-7, "0.0003 mm"),
        (-3.2e-7, "-0.0003 mm"),
        (2e-6, "0.002 mm"),
        (-1e-12, "0 mm"),
        (0.0, "0 mm"),
    ],
)
def test_a_length_in_a_sentence_is_0_only_where_it_is_nothing(metres, text):
    assert mm(metres) == text


def test_what_is_nothing_to_the_digits_shown_is_not_drawn_large():
    """Bars of picometres beside 0.0000 mm; and one of 1 mm as wide as before."""
    shares = (
        Contribution("a", "distances", 2e-12, np.nan, np.nan),
        Contribution("b", "counting", -1e-12, np.nan, np.nan),
    )
    for bar in waterfall_bars(SimpleNamespace(shares=shares, error=1e-12)):
        assert float(bar["width"]) < 0.01
    one = SimpleNamespace(shares=(Contribution("a", "distances", 1e-3, np.nan, np.nan),), error=1e-3)
    assert float(waterfall_bars(one)[0]["width"]) > 90
