"""From a log to the figures of a qualification, and the command around it."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gatesim.commands.main import cli
from gatesim.ground.errors import InputError
from gatesim.shopfloor.log import read_log
from gatesim.shopfloor.qualification import Demand, Qualification, qualify
from gatesim.studies.convention import CONVENTIONS

RIG = str(Path(__file__).parent.parent / "scenarios" / "1-drop-dowel.toml")
ASK = ["--lower", "179.5 mm", "--upper", "180.5 mm"]


def log_text(seed: int, bias: float = 0.02, std: float = 0.03, operator: float = 0.02) -> str:
    """A made log in mm: two reference parts 30 times, 12 parts by 3 operators, 3 times."""
    rng = np.random.default_rng(seed)
    rows = ["length [mm],reference [mm],part,operator"]
    for reference in (175.0, 185.0):
        rows += [f"{reference + bias + rng.normal(0, std):.9f},{reference},R," for _ in range(30)]
    parts, operators = rng.normal(180.0, 0.2, 12), rng.normal(0.0, operator, 3)
    for i, part in enumerate(parts):
        for j, shift in enumerate(operators):
            rows += [f"{part + shift + rng.normal(0, std):.9f},,P{i},O{j}" for _ in range(3)]
    return "\n".join(rows) + "\n"


def qualified(folder: Path, text: str, **extra: float) -> Qualification:
    path = folder / "log.csv"
    path.write_text(text)
    log = read_log(path, need=("length",))
    demand = Demand(0.1795, 0.1805, CONVENTIONS["iso"], **extra)
    return qualify(log, log.numbers["length"], demand)


@pytest.mark.long
def test_each_study_takes_its_own_rows(tmp_path: Path) -> None:
    result = qualified(tmp_path, log_text(1))
    assert [one.count for one in result.type_one] == [30, 30]
    assert result.gauge is not None
    assert (result.gauge.chosen.parts, result.gauge.chosen.operators, result.gauge.chosen.trials) == (
        12,
        3,
        3,
    )
    assert len(result.gauge_rows) == 108
    assert result.linearity is not None
    assert result.linearity.degrees_of_freedom == 58
    assert result.notes == ()


@pytest.mark.long
def test_hidden_spreads_lie_within_their_intervals_about_as_often_as_stated(tmp_path: Path) -> None:
    inside = {"repeatability": 0, "part": 0, "operator": 0, "share": 0, "categories": 0}
    truth = {"repeatability": 0.03e-3, "part": 0.2e-3, "operator": 0.02e-3}
    for seed in range(40):
        result = qualified(tmp_path, log_text(seed))
        assert result.gauge is not None
        study = result.gauge.without_interaction
        for name, value in truth.items():
            low, high = study.components[name].std_interval
            inside[name] += low <= value <= high
        gauge = math.hypot(truth["repeatability"], truth["operator"])
        low, high = study.gauge_share_interval
        inside["share"] += low <= gauge / math.hypot(gauge, truth["part"]) <= high
        low, high = study.categories_interval
        inside["categories"] += low <= 1.41 * truth["part"] / gauge <= high
    # 95 % of 40 is 38; fewer than 33 has a probability of 0.3 % (binomial).
    assert min(inside.values()) >= 33


def test_uncertainty_combines_scatter_bias_operators_and_reference(tmp_path: Path) -> None:
    result = qualified(tmp_path, log_text(2), reference_std=0.01e-3)
    c = result.combined
    assert result.gauge is not None
    assert c.bias == pytest.approx(max(abs(one.bias) for one in result.type_one) / math.sqrt(3.0))
    assert c.reference == 0.01e-3
    assert c.std**2 == pytest.approx(c.scatter**2 + c.bias**2 + c.operators**2 + 1e-10)
    assert result.limits.accept_lower == pytest.approx(0.1795 + 2 * c.std)
    assert result.capability_ratio == pytest.approx(4 * c.std / 1e-3)


def test_a_log_without_operators_studies_parts_and_repeatability(tmp_path: Path) -> None:
    text = "length [mm],part\n" + "\n".join(f"{180 + i + 0.01 * k},P{i}" for i in range(4) for k in range(3))
    result = qualified(tmp_path, text)
    assert result.gauge is not None
    assert result.gauge.with_interaction is None
    assert set(result.gauge.chosen.components) == {"repeatability", "part", "gauge", "total"}
    assert "no row has a reference length" in result.notes[0]


def test_a_log_that_allows_no_study_is_refused_with_the_reasons(tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"no study can be made: no type-1 study.*no column 'part'"):
        qualified(tmp_path, "length [mm]\n180\n181\n")


def test_rows_left_out_to_balance_are_named_by_line(tmp_path: Path) -> None:
    text = log_text(3) + "180.0,,P0,O0\n"
    result = qualified(tmp_path, text)
    assert result.notes == (
        f"left out of the repeatability study to balance it: lines {len(text.splitlines())}",
    )


def test_the_command_prints_every_study_and_the_bad_rows(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(log_text(4) + "oops,,P0,O0\n")
    run = CliRunner().invoke(cli, ["qualify", str(tmp_path / "log.csv"), *ASK], catch_exceptions=False)
    assert run.exit_code == 0
    for words in ("line 170: length is 'oops'", "C_g = 0.2 T / (4 s)", "Linearity", "with interaction",
                  "distinct categories", "global consumer's risk", "accept readings from"):  # fmt: skip
        assert words in run.output


@pytest.mark.long
def test_json_holds_the_figures_and_the_figure_file_is_drawn(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(log_text(5))
    figure = tmp_path / "figure.png"
    run = CliRunner().invoke(
        cli,
        [
            "qualify",
            str(tmp_path / "log.csv"),
            *ASK,
            "--convention",
            "msa",
            "--json",
            "--figure",
            str(figure),
        ],
        catch_exceptions=False,
    )
    data = json.loads(run.output)
    assert data["gauge"][data["gauge"]["chosen"]]["parts"] == 12
    assert data["type_one"][0]["convention"]["name"] == "msa"
    assert 0.0 <= data["risks"]["consumer"] < data["risks"]["producer"] < 1.0
    assert figure.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_counts_become_lengths_by_the_rig_s_formula_and_its_limits_hold(tmp_path: Path) -> None:
    rng = np.random.default_rng(9)
    rows = ["dwell,capture,part"]
    for part in range(5):
        for _ in range(4):
            rows.append(f"{6000 + 20 * part + rng.integers(0, 9)},{2000 + rng.integers(0, 3)},P{part}")
    rows.append("6000,0,P0")  # no capture: no length
    (tmp_path / "log.csv").write_text("\n".join(rows))
    run = CliRunner().invoke(
        cli,
        ["qualify", str(tmp_path / "log.csv"), "--rig", RIG, "--formula", "spacing-dwell", "--json"],
        catch_exceptions=False,
    )
    data = json.loads(run.output)
    assert data["tolerance"] == pytest.approx([0.1795, 0.1805])
    mean = np.mean([0.06 * int(d) / int(c) for d, c, _ in (row.split(",") for row in rows[1:-1])])
    assert data["process"][0] == pytest.approx(mean, rel=1e-12)
    assert data["notes"][0] == "no length in lines 22: left out"


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (["--lower", "181 mm", "--upper", "180 mm"], "expected a length below the upper limit, 180 mm"),
        (["--lower", "181 mm"], "--upper: given nothing"),
        ([*ASK, "--formula", "four-edge"], "given without --rig"),
        ([*ASK, "--rig", RIG, "--formula", "guess"], "--formula: given 'guess'"),
        ([*ASK, "--rig", RIG, "--formula", "encoder-pitch"], "encoder-pitch needs pitch"),
        ([*ASK, "--rig", RIG], "no column 'dwell'"),
        (["--lower", "181", "--upper", "180 mm"], "--lower: given '181'"),
        ([*ASK, "--reference-uncertainty", "-1 mm"], "expected 0 or more"),
        ([*ASK, "--column", "x"], "expected HEADER=NAME"),
        ([*ASK, "--column", "x=length [mm]"], "no column 'x'"),
        ([*ASK, "--figure", "out.nonsense"], "expected a name ending in .png"),
    ],
)
def test_bad_options_are_refused_with_one_sentence(
    tmp_path: Path, arguments: list[str], sentence: str
) -> None:
    (tmp_path / "log.csv").write_text(log_text(6))
    with pytest.raises(InputError, match=sentence):
        CliRunner().invoke(
            cli,
            ["qualify", str(tmp_path / "log.csv"), *arguments],
            catch_exceptions=False,
            standalone_mode=False,
        )
