"""Several set-ups side by side: the table, the picture, and the figures behind them."""

import json
import math
import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from matplotlib.figure import Figure

import gatesim
from gatesim.commands.main import cli
from gatesim.view.intervalchart import interval_chart
from gatesim.view.window import window
from tests.texts import drawn_texts, outside, overlapping

FOLDER = Path(__file__).parent.parent / "scenarios"
# Invented: belts of an exact speed, whose only spread is the spacing, so that the errors are known
BELT = """
title = "{title}"
[part]
length = "100 mm"
[belt]
speed = "1 m/s"
friction = 0.9
[gate]
first = "400 mm"
spacing = {{ value = "{spacing}", distribution = "normal", standard_uncertainty = "{u}" }}
[counter]
frequency = "10 MHz"
[formula]
use = ["spacing-dwell"]
spacing = "100 mm"
[requirement]
max_error = "0.5 mm"
"""


def belt(title, spacing="100 mm", u="0.2 mm"):
    return gatesim.parse(BELT.format(title=title, spacing=spacing, u=u), f"{title}.toml")


@pytest.fixture(scope="module")
def two():
    return gatesim.compare(belt("fine"), belt("off", "102 mm", "0.1 mm"), workers=1, cost=[3, 40])


@pytest.fixture(scope="module")
def six():
    return gatesim.compare(*map(gatesim.load, sorted(FOLDER.glob("[1-6]-*.toml"))), trials=128, workers=1)


def test_figures_are_those_of_the_closed_form(two):
    """On a belt L is read as L s_assumed / s; with s normal about 100 mm the error is about -(s - 100 mm)."""
    fine, off = two.setups
    assert fine.bias == pytest.approx(0.0, abs=5e-6)
    assert fine.uncertainty == pytest.approx(0.2e-3, rel=0.02)
    assert off.bias == pytest.approx(0.1 * 100 / 102 - 0.1, abs=5e-6)
    # normal tails beyond 0.5 mm / 0.2 mm = 2.5 standard deviations, from the error function
    assert fine.within == pytest.approx(math.erf(2.5 / math.sqrt(2.0)), abs=0.003)
    assert off.within == pytest.approx(0.0, abs=1e-3)
    assert (fine.met, off.met) == (True, False)
    assert fine.allowed == pytest.approx(0.5e-3)


def test_table_has_a_column_a_set_up_and_equal_digits_in_a_row(two):
    text = str(two)
    assert text == two.text("mm")
    rows = {line[:34].strip(): line[34:].split() for line in text.splitlines()}
    assert rows["true length / mm"] == ["100.000", "100.000"]
    assert rows["bias and 2 u within it"] == ["yes", "no"]
    assert rows["cost"] == ["3", "40"]
    assert rows["formula"] == ["spacing-dwell"] * 2
    for name, cells in rows.items():
        if name.endswith("/ mm"):
            assert len({len(cell.partition(".")[2]) for cell in cells}) == 1, name
    assert float(rows["standard uncertainty u / mm"][1]) == pytest.approx(0.1 / 1.02**2, abs=0.002)


def test_unit_of_the_table_and_its_sentences(two):
    inch = two.text("in")
    rows = {line[:34].strip(): line[34:].split() for line in inch.splitlines()}
    assert rows["true length / in"] == [f"{100 / 25.4:.5f}"] * 2
    assert "mm" not in inch
    shown = re.search(r"reads ([\d.]+) in short", inch)
    assert float(shown[1]) == pytest.approx((100 - 100 * 100 / 102) / 25.4, abs=5e-5)
    assert "100000 " in two.text("um")
    with pytest.raises(gatesim.InputError, match="--unit: given 'cm', expected one of mm, um, in"):
        two.text("cm")


@pytest.mark.long
def test_json_is_si_whatever_the_unit(tmp_path):
    files = []
    for title in ("one", "other"):
        files.append(str(tmp_path / f"{title}.toml"))
        Path(files[-1]).write_text(BELT.format(title=title, spacing="100 mm", u="0.2 mm"))
    arguments = ["compare", *files, "--trials", "128", "--workers", "1", "--json"]
    plain = CliRunner().invoke(cli, arguments, catch_exceptions=False).stdout
    assert CliRunner().invoke(cli, [*arguments, "--unit", "in"], catch_exceptions=False).stdout == plain
    first = json.loads(plain)["setups"][0]
    assert first["true_length"] == 0.1
    assert first["standard_uncertainty"] == pytest.approx(0.2e-3, rel=0.1)
    assert first["cost"] is None
    assert first["formulas"]["spacing-dwell"]["bias"] == first["bias"]


@pytest.mark.long
def test_picture_of_two_to_six_has_units_and_no_text_on_another(six):
    for count, unit in ((2, "um"), (3, "in"), (6, "mm")):
        few = gatesim.api.compare.Comparison(six.setups[-count:], six.trials, six.seed)
        figure = few.plot(unit=unit).get_figure(root=True)
        texts = drawn_texts(figure)
        assert overlapping(texts) == []
        assert outside(texts, figure.bbox) == []
        assert len(figure.axes) == 3 * count
        for axes in figure.axes:
            assert axes.get_xlabel().endswith(f"/ {unit}")
        rows = [axes.get_ylabel() for axes in figure.axes[::count]]
        assert rows == ["speed / (m/s)", "", "share of readings / %"]


@pytest.mark.long
def test_picture_shows_gates_brake_and_limits(six):
    brake = six.setups[2]
    figure = gatesim.api.compare.Comparison((brake, six.setups[3]), 128, 1).plot().get_figure(root=True)
    path, _, error, _, spread, _ = figure.axes
    at = [line.get_xdata()[0] for line in path.lines if len(set(line.get_xdata())) == 1]
    assert np.allclose(at, [760.0, 810.0, 1180.0])
    assert {text.get_text() for text in path.get_legend().get_texts()} == {"magnets", "leading end"}
    hatched = [patch for patch in path.patches if patch.get_hatch()]
    assert hatched[0].get_x() == pytest.approx(60.0)
    assert hatched[0].get_width() == pytest.approx(1100.0)
    for axes in (error, spread):
        limits = [line.get_xdata()[0] for line in axes.lines if line.get_linestyle() == "-."]
        assert np.allclose(limits, [-1.0, 1.0])


@pytest.mark.long
def test_gross_errors_are_marked_at_the_border_and_do_not_squeeze_the_rest(six):
    assert window([0.1, 0.2, 0.3, 50.0]) == pytest.approx(1.0)
    assert window([0.1, 0.2, 0.3], least=2.0) == 2.0
    assert window([math.nan]) == 1.0
    dowel = six.setups[0]
    axes = interval_chart(dict(dowel.study.formulas), "spacing-dwell", dowel.allowed, 2e-3)
    assert axes.get_xlim()[1] < 2.5
    said = [text.get_text() for text in axes.texts]
    assert any(text.startswith("-15.3") for text in said)
    assert [line.get_marker() for line in axes.lines].count("<") == 1


@pytest.mark.long
def test_picture_goes_into_a_place_of_ones_own(two):
    figure = Figure(figsize=(12, 9), layout="constrained")
    first, second = figure.subplots(1, 2, width_ratios=[1, 3])
    assert two.plot(second).get_figure(root=True) is figure
    assert first in figure.axes


def test_too_few_too_many_and_costs_that_do_not_match_are_refused():
    rig = belt("one")
    with pytest.raises(gatesim.InputError, match="given 1 set-ups, expected 2 to 6"):
        gatesim.compare(rig)
    with pytest.raises(gatesim.InputError, match="expected one for each"):
        gatesim.compare(rig, rig, cost=[1.0])


@pytest.mark.long
def test_command_draws_to_a_picture_and_refuses_other_endings(tmp_path):
    file = str(FOLDER / "6-belt-roller.toml")
    arguments = ["compare", file, file, "--trials", "128", "--workers", "1", "-o"]
    done = CliRunner().invoke(cli, [*arguments, str(tmp_path / "two.png")], catch_exceptions=False)
    assert done.exit_code == 0
    assert (tmp_path / "two.png").stat().st_size > 10_000
    refused = CliRunner().invoke(cli, [*arguments, str(tmp_path / "two.txt")])
    assert isinstance(refused.exception, gatesim.InputError)
    assert "expected a name ending in .png or .svg or .pdf" in str(refused.exception)
