"""Commands study, sweep and budget on rigs whose errors are known in closed form."""

import csv
import json
import math
from dataclasses import replace

import pytest
from click.testing import CliRunner

import gatesim
from gatesim.commands.budget import command as budget_command
from gatesim.commands.study import command as study_command
from gatesim.commands.sweep import command as sweep_command
from gatesim.ground.errors import InputError
from gatesim.scenario import parse_text
from gatesim.studies.budget import COUNTING, budget
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel, parse_axis
from gatesim.studies.validation import Validation

# An invented chute; its numbers serve as input only, never as expected values
CHUTE = """
title = "invented chute"
[part]
length = "120 mm"
[path]
slope = "30 deg"
[gate]
first = {{ value = "200 mm", distribution = "normal", standard_uncertainty = "0.5 mm" }}
spacing = {{ value = "80 mm", distribution = "rectangular", half_width = "0.05 mm" }}
[sensor]
jitter = "{jitter}"
[counter]
frequency = "{frequency}"
[formula]
use = ["spacing-dwell", "fixed-release"]
[requirement]
lower_limit = "115 mm"
upper_limit = "125 mm"
"""


def chute(jitter="0 us", frequency="10 MHz"):
    return CHUTE.format(jitter=jitter, frequency=frequency)


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "chute.toml"
    path.write_text(chute())
    return str(path)


def read_length(release, spacing, length=0.120, assumed=0.080):
    """Reading of s T/t_s for a part released from rest under any constant acceleration (derived)."""
    root = math.sqrt(release)
    return assumed * (math.sqrt(release + length) - root) / (math.sqrt(release + spacing) - root)


def slope(f, x, h):
    """Central difference of a smooth closed form."""
    return (f(x + h) - f(x - h)) / (2.0 * h)


def test_budget_of_a_chute_equals_the_derivatives_of_its_closed_form():
    found = budget(RigModel(parse_text(chute())), "spacing-dwell")
    rows = {row.name: row for row in found.rows}
    by_release = slope(lambda x: read_length(x, 0.080), 0.2, 1e-5)
    by_spacing = slope(lambda s: read_length(0.2, s), 0.080, 1e-5)
    assert rows["gate.first"].sensitivity == pytest.approx(by_release, rel=1e-5)
    assert rows["gate.spacing"].sensitivity == pytest.approx(by_spacing, rel=1e-5)
    assert found.error == pytest.approx(read_length(0.2, 0.080) - 0.120, abs=1e-7)
    combined = math.hypot(by_release * 0.5e-3, by_spacing * 0.05e-3 / math.sqrt(3.0))
    assert found.combined == pytest.approx(combined, rel=1e-4)


def test_study_of_a_chute_has_the_bias_of_its_closed_form():
    result = study(RigModel(parse_text(chute())), Plan(trials=40_000), workers=1)
    found = result.formulas["spacing-dwell"]
    assert found.bias.value == pytest.approx(
        read_length(0.2, 0.080) - 0.120, abs=5.0 * found.bias.error + 1e-6
    )
    # the fixed-release formula inverts the closed form, so only the two spreads are left
    other = result.formulas["fixed-release"]
    assert abs(other.bias.value) < 5.0 * other.bias.error + 1e-6
    assert result.outcomes["measured"].share == 1.0


def test_jitter_and_counting_have_rows_and_match_the_simulation():
    rig = RigModel(parse_text(chute("20 us", "20 kHz")))
    found = budget(rig, "spacing-dwell")
    names = [row.name for row in found.rows]
    assert COUNTING in names
    assert any("jitter" in name for name in names)
    simulated = study(rig, Plan(trials=100_000), workers=1).formulas["spacing-dwell"]
    assert found.combined == pytest.approx(simulated.uncertainty.value, rel=0.03)


def run(command, *arguments):
    result = CliRunner().invoke(command, arguments, standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return result


def test_study_command_prints_text_and_writes_json_csv_and_figure(file, tmp_path):
    trials, figure = tmp_path / "trials.csv", tmp_path / "readings.png"
    text = run(study_command, file, "--trials", "3000", "--csv", str(trials), "--figure", str(figure)).output
    assert "spacing-dwell" in text
    assert "3,000 trials, seed 1" in text
    with trials.open() as rows:
        assert len(list(csv.DictReader(rows))) == 3000
    assert figure.stat().st_size > 10_000
    data = json.loads(run(study_command, file, "--trials", "3000", "--pseudo-random", "--json").output)
    assert data["trials"] == 3000
    assert list(data["error"]) == ["spacing-dwell", "fixed-release"]


@pytest.mark.long
def test_study_command_until_and_state(file, tmp_path):
    state = str(tmp_path / "state")
    text = run(study_command, file, "--until", "1%", "--state", state).output
    assert "tolerance reached" in text
    assert run(study_command, file, "--until", "1%", "--state", state).output == text
    with pytest.raises(InputError, match="leave one of the two out"):
        run(study_command, file, "--state", state, "--csv", str(tmp_path / "x.csv"))


@pytest.mark.long
def test_budget_command_prints_table_validation_and_indices(file):
    text = run(budget_command, file, "--trials", "20000").output
    for word in ("gate.first", "gate.spacing", "Welch-Satterthwaite", "clause 8", "Sobol indices"):
        assert word in text
    data = json.loads(run(budget_command, file, "--trials", "20000", "--json").output)
    assert {index["name"] for index in data["sobol_indices"]} >= {"gate.first", "gate.spacing"}


@pytest.mark.long
def test_sweep_command_follows_the_closed_form(file, tmp_path):
    figure = tmp_path / "sweep.png"
    arguments = [file, "--vary", "gate.first=50mm:0.4m:4", "--trials", "4000", "--figure", str(figure)]
    data = json.loads(run(sweep_command, *arguments, "--json").output)
    assert data["axes"][0]["values"] == pytest.approx([50.0, 500.0 / 3.0, 850.0 / 3.0, 400.0])
    table = data["error"]["spacing-dwell"]
    for release, bias, error in zip(
        data["axes"][0]["values"], table["bias"], table["bias_error"], strict=True
    ):
        assert bias == pytest.approx(read_length(release * 1e-3, 0.080) - 0.120, abs=5.0 * error + 2e-6)
    assert "gate.first / mm" in run(sweep_command, *arguments).output
    assert figure.stat().st_size > 10_000


def test_sweep_of_a_wrong_path_names_the_nearest(file):
    with pytest.raises(InputError, match=r"gate\.spacing"):
        run(sweep_command, file, "--vary", "gate.spacin=20mm:200mm:3")


@pytest.mark.parametrize(
    "text",
    ["gate.spacing", "gate.spacing=20mm:200mm", "gate.spacing=20mm:200mm:3:lin", "x=1mm:2s:3", "x=a:b:3"],
)
def test_grid_that_cannot_be_read_is_refused_in_one_sentence(text):
    with pytest.raises(InputError, match="--vary: given"):
        parse_axis(text)


def test_unknown_formula_is_refused_with_those_there_are(file):
    with pytest.raises(InputError, match="spacing-dwell, fixed-release"):
        run(budget_command, file, "--formula", "other")


@pytest.mark.parametrize(("undecided", "points"), [(0, [16_384]), (1, [16_384, 65_536])])
def test_a_budget_takes_more_points_only_where_the_first_leave_it_open(undecided, points, monkeypatch):
    taken = []

    def told(table, simulated):
        found = Validation(1, 1e-4, 0.0, 0.0, conclusive=len(taken) > undecided)
        return [found, replace(found, digits=2, conclusive=False)]

    def small(model, plan, **others):
        taken.append(plan.trials)
        return study(model, replace(plan, trials=256), **others)

    monkeypatch.setattr("gatesim.api.budget.study", small)
    monkeypatch.setattr("gatesim.api.budget.validations", told)
    monkeypatch.setattr("gatesim.api.budget.SET", 256)
    scenario = parse_text(chute())
    gatesim.budget(scenario, workers=1)
    assert taken == points
    taken.clear()
    gatesim.budget(scenario, workers=1, trials=5000)  # what is asked for is what is done
    assert taken == [5000]
