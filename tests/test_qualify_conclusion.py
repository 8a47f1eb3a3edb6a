"""What is concluded of a gauge: resolution, reference parts, missing cells, one verdict by named rules."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.stats import binom

from gatesim.commands.qualify import command
from gatesim.shopfloor.log import read_log
from gatesim.shopfloor.qualification import Demand, Qualification, qualify
from gatesim.shopfloor.repeatability import gauge_study
from gatesim.shopfloor.resolution import step_of
from gatesim.studies.convention import CONVENTIONS
from tests.test_qualify_repeatability import aiag, study, thermal

FALSE_ALARM = 1e-4


def of(
    folder: Path, rows: list[str], head: str = "length [mm],reference [mm]", **ask: float
) -> Qualification:
    path = folder / "log.csv"
    path.write_text("\n".join([head, *rows]) + "\n")
    log = read_log(path, need=("length",))
    demand = Demand(0.179, 0.181, CONVENTIONS["iso"], resolution=step_of(log))
    return qualify(log, log.numbers["length"], demand)


def test_readings_all_alike_have_the_uncertainty_of_their_resolution(tmp_path: Path) -> None:
    """ISO 22514-7 (from memory): the larger of repeatability and resolution / sqrt(12) enters."""
    result = of(tmp_path, ["180.0,180.0"] * 30)
    assert result.demand.resolution == pytest.approx(0.1e-3)
    assert result.combined.std == pytest.approx(0.1e-3 / math.sqrt(12.0))
    [one] = result.type_one
    assert one.c_g == pytest.approx(0.2 * 2.0 / (4.0 * 0.1 / math.sqrt(12.0)))


def test_a_display_of_a_millimetre_on_two_millimetres_is_not_accepted_and_the_rule_is_named(
    tmp_path: Path,
) -> None:
    result = of(tmp_path, ["180,180.1"] * 30 + ["190,190.2"] * 25)
    assert result.conclusion.verdict.words == "not accepted"
    first = result.conclusion.checks[0]
    assert first.found == "resolution 1 mm, 50 % of the tolerance"
    assert first.rule == "at most 5 % (ISO 22514-7)"
    assert result.linearity is not None
    assert not result.linearity.tested


def test_a_display_in_steps_of_five_is_seen_from_the_readings(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    rows = [f"{180 + 0.05 * round(rng.normal(0, 0.1) / 0.05):.2f},180" for _ in range(30)]
    assert of(tmp_path, rows).demand.resolution == pytest.approx(0.05e-3)


@pytest.mark.long
def test_the_uncertainty_covers_the_rounding_of_a_display_that_is_coarser_than_the_scatter(
    tmp_path: Path,
) -> None:
    """Root mean square error of rounded readings of parts of any length, against what is stated."""
    rng = np.random.default_rng(4)
    step, scatter = 0.1, 0.002
    stated, wrong = [], []
    for _ in range(100):
        true = 180.0 + round(rng.uniform(0.0, step), 4)
        shown = step * np.round((true + rng.normal(0.0, scatter, 30)) / step)
        stated.append(of(tmp_path, [f"{x:.1f},{true}" for x in shown]).combined.std * 1e3)
        parts = rng.uniform(179.0, 181.0, 100)
        wrong.append(step * np.round((parts + rng.normal(0.0, scatter, 100)) / step) - parts)
    real = float(np.sqrt(np.mean(np.square(wrong))))
    assert min(stated) >= 0.99 * real
    assert np.mean(stated) <= 1.3 * real


def test_reference_parts_say_nothing_of_production(tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    rows = [f"{r + rng.normal(0, 0.02):.4f},{r},R{r}" for r in (150, 200, 260, 320, 380) for _ in range(12)]
    result = of(tmp_path, rows, "length [mm],reference [mm],part")
    assert result.gauge is not None
    assert not result.gauge.production
    assert result.process is None
    assert result.risks is None
    assert math.isnan(result.gauge.chosen.categories)
    assert "part" not in result.gauge.chosen.components
    assert any("no sample of production" in note for note in result.notes)
    # the bias that counts is that of the references next to the tolerance, 150 and 200 mm
    assert [c.found[:16] for c in result.conclusion.checks if "C_g" in c.found] == [
        "type-1 at 150 mm",
        "type-1 at 200 mm",
    ]


@pytest.mark.parametrize("table", [aiag(), thermal()])
def test_restricted_likelihood_agrees_with_the_analysis_of_variance_where_nothing_is_missing(
    table: np.ndarray,
) -> None:
    """Searle, Casella and McCulloch (1992): in balanced data without negative estimates they are one."""
    from gatesim.shopfloor.unbalanced import best

    part, operator, _ = np.indices(table.shape).reshape(3, -1)
    found = best(table.ravel(), {"part": list(part), "operator": list(operator)})
    expected = study(table).without_interaction.components
    for name, variance in found.variances.items():
        assert variance == pytest.approx(expected[name].estimate, rel=1e-3)


def test_missing_cells_cost_no_other_reading() -> None:
    table = thermal()
    part, operator, _ = np.indices(table.shape).reshape(3, -1)
    kept = ~((part == 2) & (operator == 1))
    kept[[0, 40, 41]] = False
    both = gauge_study(table.ravel()[kept], [*map(str, part[kept])], [*map(str, operator[kept])])
    assert not both.balanced
    assert both.left_out == ()
    assert both.chosen.readings == int(kept.sum())
    assert both.chosen is both.with_interaction
    whole = study(table).chosen.components
    for name in ("repeatability", "gauge", "part"):
        assert both.chosen.components[name].std == pytest.approx(whole[name].std, rel=0.25)


def test_parts_that_share_no_operator_are_refused_with_the_cell_that_is_missing() -> None:
    with pytest.raises(ValueError, match="part 'a' was not measured by operator 'y'"):
        gauge_study(np.arange(8.0), list("aaaabbbb"), list("xxxxyyyy"))


@pytest.mark.long(seconds=18)
def test_components_of_studies_with_holes_are_right_in_the_mean_and_covered() -> None:
    """Simulated: parts 1.0, operators 0.3, repeatability 0.2; 10 x 3 x 3 with a cell and 4 rows missing.

    128 studies: a mean that is off by 0.35 of one study's scatter is seen in one of two (four standard
    errors), a coverage of 82 % in nine of ten.
    """
    rng = np.random.default_rng(6)
    part, operator, _ = np.indices((10, 3, 3)).reshape(3, -1)
    repeat, whole, inside, rounds = [], [], 0, 128
    for _ in range(rounds):
        y = rng.normal(0, 1.0, 10)[part] + rng.normal(0, 0.3, 3)[operator] + rng.normal(0, 0.2, part.size)
        kept = ~((part == rng.integers(10)) & (operator == rng.integers(3)))
        kept[rng.integers(0, part.size, 4)] = False
        found = gauge_study(y[kept], [*map(str, part[kept])], [*map(str, operator[kept])])
        components = found.without_interaction.components
        repeat.append(components["repeatability"].std ** 2)
        whole.append(components["part"].std ** 2)
        low, high = components["repeatability"].std_interval
        inside += low <= 0.2 <= high
    assert np.mean(repeat) == pytest.approx(0.04, abs=4.0 * np.std(repeat) / math.sqrt(rounds))
    assert np.mean(whole) == pytest.approx(1.0, abs=4.0 * np.std(whole) / math.sqrt(rounds))
    assert binom.ppf(FALSE_ALARM, rounds, 0.95) <= inside


@pytest.mark.long
@pytest.mark.parametrize(
    ("spread", "bias", "expected"),
    [
        # of a tolerance of 2 mm: 6 s = 3 %, 18 %, 60 %; a bias of 0.19 mm uses up a tenth of it
        (0.010, 0.02, "accepted"),
        (0.060, 0.0, "conditionally accepted"),
        (0.200, 0.0, "not accepted"),
        (0.010, 0.19, "not accepted"),
    ],
)
def test_gauges_of_known_spread_and_bias_get_the_verdict_that_the_rules_give_for_the_truth(
    tmp_path: Path, spread: float, bias: float, expected: str
) -> None:
    """ISO 22514-7 and the measurement systems analysis manual (limits from memory), over simulated gauges.

    The true values lie well off the limits, so that chance turns hardly a verdict.
    """
    rng = np.random.default_rng(7)
    said = []
    for _ in range(40):
        rows = [f"{180 + bias + rng.normal(0, min(spread, 0.03)):.5f},180," for _ in range(50)]
        parts = rng.normal(180.0, 0.3, 10)
        rows += [
            f"{p + bias + rng.normal(0, spread):.5f},,P{k}" for k, p in enumerate(parts) for _ in range(10)
        ]
        said.append(of(tmp_path, rows, "length [mm],reference [mm],part").conclusion.verdict.words)
    assert said.count(expected) >= 38


def test_the_verdict_stands_first_and_in_json(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text("length [mm],reference [mm]\n" + "180,180.1\n" * 30)
    ask = [str(path), "--lower", "179 mm", "--upper", "181 mm"]
    text = CliRunner().invoke(command, ask, catch_exceptions=False).output
    assert text.startswith("NOT ACCEPTED for accepting and rejecting parts of 179 to 181 mm\n")
    found = json.loads(CliRunner().invoke(command, [*ask, "--json"], catch_exceptions=False).output)
    assert found["conclusion"]["verdict"] == "not accepted"
    finer = json.loads(CliRunner().invoke(command, [*ask, "--resolution", "0.01 mm", "--json"]).output)
    assert finer["resolution"] == pytest.approx(1e-5)
    assert finer["conclusion"]["verdict"] == "conditionally accepted"
