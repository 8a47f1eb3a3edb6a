"""``gatesim fit``: text, JSON, figure, the scenario it writes, and what it says of bad input."""

import json
import math
import tomllib
from datetime import date
from pathlib import Path

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner, Result

from gatesim.commands.fit import command
from gatesim.formula import FORMULAS, Counts
from gatesim.ground.errors import InputError
from gatesim.prediction.predict import predict
from gatesim.scenario import load
from gatesim.scenario.schema import json_schema
from gatesim.shopfloor.fit.fit import fit
from gatesim.shopfloor.fit.result import FitOptions
from gatesim.shopfloor.log import Log
from tests.fit_logs import SLIDE, logs, rig

REFERENCES = np.repeat([0.15, 0.2, 0.26], 12)


def written(log: Log, path: Path) -> Path:
    names = list(log.numbers)
    heads = [f"{n} [m]" if n == "reference" else f"{n} [1]" for n in names]
    rows = [",".join(f"{log.numbers[n][k]:.17g}" for n in names) for k in range(len(log))]
    path.write_text("\n".join([",".join(heads), *rows, "0.2,,,oops"]) + "\n", encoding="utf-8")
    return path


@pytest.fixture
def files(tmp_path: Path) -> tuple[Path, Path]:
    scenario = tmp_path / "rig.toml"
    scenario.write_text(SLIDE.replace("friction = 0.3", "friction = 0.3  # a guess"), encoding="utf-8")
    # a seed without a row set apart: one log in twenty has one by chance
    [log], _ = logs(load(scenario), REFERENCES, 1, 9, {"path.friction": 0.27})
    return scenario, written(log, tmp_path / "log.csv")


def run(*arguments: object) -> Result:
    return CliRunner().invoke(command, [str(a) for a in arguments])


@pytest.mark.long
def test_text_and_json_say_the_same_and_name_the_bad_line(files: tuple[Path, Path]) -> None:
    text = run(*files, "--unknown", "path.friction").output
    found = json.loads(run(*files, "--unknown", "path.friction", "--json").output)
    [friction] = [q for q in found["quantities"] if q["unknown"]]
    assert friction["name"] == "path.friction"
    assert abs(friction["estimate"] - 0.27) < 5.0 * friction["standard_uncertainty"]
    assert f"{friction['estimate']:.4f}(" in text or f"{friction['estimate']:.5f}(" in text
    assert "line 38: " in text
    assert [bad["line"] for bad in found["log"]["set_apart"]] == [38]
    assert found["adequacy"]["describes"]
    assert "The model describes the log." in text
    assert {c["formula"] for c in found["corrections"]} >= {"spacing-dwell", "known-acceleration"}


@pytest.mark.long
def test_the_written_scenario_keeps_comments_and_holds_value_uncertainty_and_covariance(
    files: tuple[Path, Path], tmp_path: Path
) -> None:
    target = tmp_path / "new.toml"
    result = run(*files, "--unknown", "path.friction", "--formula", "known-acceleration", "-o", target)
    assert result.exit_code == 0, result.output
    assert "# a guess" in target.read_text(encoding="utf-8")
    new = load(target)
    assert new.fitted is not None
    place = new.fitted.quantities.index("path.friction")
    friction = new.path.friction
    assert friction.nominal == pytest.approx(new.fitted.estimates[place], abs=0.01 * friction.std)
    assert friction.std**2 == pytest.approx(new.fitted.covariance[place][place], rel=0.02)
    old = load(files[0])
    rewritten = [
        n for n in new.fitted.quantities if "@" not in n and new.inputs()[n].text != old.inputs()[n].text
    ]
    assert set(rewritten) >= {"path.friction", "gate.first"}  # known by 1 mm before, better now
    for name in rewritten:
        at = new.fitted.quantities.index(name)
        std = math.sqrt(new.fitted.covariance[at][at])
        assert new.inputs()[name].std == pytest.approx(std, rel=0.01)
        assert new.inputs()[name].nominal == pytest.approx(new.fitted.estimates[at], abs=0.01 * std)
    assert (new.fitted.log, new.fitted.rows, new.fitted.held_out) == (str(files[1]), 27, 9)
    assert new.formula.use is not None
    assert new.formula.use[0] == "known-acceleration"
    assert "In charge: known-acceleration, as asked." in result.output
    assert new.formula.acceleration is not None
    a = 9.80665 * (math.sin(new.path.slope.nominal) - friction.nominal * math.cos(new.path.slope.nominal))
    assert new.formula.acceleration.nominal == pytest.approx(a, rel=1e-5)
    jsonschema.validate(json.loads(json.dumps(new.raw, default=str)), json_schema())
    assert not [p for p in tmp_path.iterdir() if p.name.startswith(".")]


@pytest.mark.long
def test_the_written_scenario_has_a_line_for_every_formula_and_the_best_one_in_charge(
    files: tuple[Path, Path], tmp_path: Path
) -> None:
    text = files[0].read_text(encoding="utf-8") + '[formula]\ngain = 1.1\nzero = "-20 mm"\n'
    files[0].write_text(text, encoding="utf-8")
    target = tmp_path / "new.toml"
    told = run(*files, "--unknown", "path.friction", "-o", target).output
    found = json.loads(run(*files, "--unknown", "path.friction", "--json").output)
    least = min(
        found["corrections"], key=lambda c: math.hypot(c["after"]["bias"], c["after"]["uncertainty"])
    )["formula"]
    assert found["reads_best"] == least
    assert f"In charge: {least}, which reads the held-out rows with the least error" in told
    raw = tomllib.loads(target.read_text(encoding="utf-8"))["formula"]
    names = [c["formula"] for c in found["corrections"]]
    assert raw["use"][0] == least
    assert sorted(raw["use"]) == sorted(names)
    assert "gain" not in raw
    for correction in found["corrections"]:
        line = raw["calibration"][correction["formula"]]
        assert line["gain"] == pytest.approx(correction["constants"]["gain"], abs=1e-9)
        assert float(line["zero"].split()[0]) == pytest.approx(
            1e3 * correction["constants"]["zero"], abs=1e-6
        )
    # one pair of gain and zero for all once read good formulas 22 mm off: now each has its own
    length = load(target).part.length.nominal
    for reading in predict(load(target)).readings:
        assert reading.length_m == pytest.approx(length, abs=1.5e-3), reading.formula


@pytest.mark.long
def test_constants_leave_no_bias_on_rows_that_the_fit_did_not_see(files: tuple[Path, Path]) -> None:
    """Under constant acceleration the corrected formula is exact (Newton's second law, integrated)."""
    from gatesim.shopfloor.log import read_log

    found = fit(load(files[0]), read_log(files[1]), FitOptions(["path.friction"]))
    one = next(c for c in found.corrections if c.formula == "known-acceleration")
    assert one.before is not None
    assert one.after is not None
    # what is told of the held-out rows is what the constants make of their counts
    counts = Counts(*found.rows.counts[found.rows.held_out].T)
    k = one.constants
    read = k.gain * FORMULAS["known-acceleration"].length(counts, k) + k.zero
    bias = (read - found.rows.reference[found.rows.held_out]).mean()
    assert one.after.bias == pytest.approx(bias, abs=1e-12)
    assert k.gain != 1.0
    assert abs(one.after.bias) < 5.0 * one.after.bias_std + 2e-5  # gain and zero have their own scatter
    assert abs(one.before.bias) > 10.0 * abs(one.after.bias)
    spacing = next(c for c in found.corrections if c.formula == "spacing-dwell")
    assert spacing.after is not None
    # a straight line does not take away what grows with the square of the dwell
    assert spacing.after.std > 3.0 * one.after.std


@pytest.mark.long
def test_held_out_rows_are_drawn_by_seed_from_every_length_and_do_not_enter_the_fit() -> None:
    [log], _ = logs(rig(), REFERENCES, 1, 8)
    one, same = (fit(rig(), log, FitOptions(["path.friction"], seed=5, draws=300)) for _ in range(2))
    np.testing.assert_array_equal(one.rows.held_out, same.rows.held_out)
    assert np.bincount(one.rows.group[one.rows.held_out]).tolist() == [3, 3, 3]
    other = fit(rig(), log, FitOptions(["path.friction"], seed=6, draws=300))
    assert (one.rows.held_out != other.rows.held_out).any()
    log.numbers["capture"][one.rows.held_out] += 500.0
    again = fit(rig(), log, FitOptions(["path.friction"], seed=5, draws=300))
    np.testing.assert_array_equal(one.estimate, again.estimate)


@pytest.mark.long
def test_residuals_are_drawn(files: tuple[Path, Path], tmp_path: Path) -> None:
    picture = tmp_path / "residuals.svg"
    assert run(*files, "--unknown", "path.friction", "--figure", picture).exit_code == 0
    assert "<svg" in picture.read_text(encoding="utf-8")


@pytest.mark.long
@pytest.mark.parametrize(
    ("options", "said"),
    [
        (["--unknown", "path.fricton"], "did you mean path.friction?"),
        (["--unknown", "part.length"], "lengths that the log does not give"),
        (["--unknown", "formula.gain"], "expected a quantity of the rig"),
        (["--unknown", "path.friction", "--unknown", "path.friction"], "each quantity once"),
        (["--unknown", "path.friction", "--varies", "part.mass"], "part.mass has no spread"),
        (["--unknown", "path.friction", "--reference-uncertainty", "-1 mm"], "expected 0 or more"),
        (["--unknown", "path.friction", "--formula", "three-gates"], "expected one that the log allows"),
        (["--unknown", "path.friction", "--column", "N1"], "expected HEADER=NAME"),
    ],
)
def test_bad_input_is_told_in_one_sentence(files: tuple[Path, Path], options: list[str], said: str) -> None:
    problem = run(*files, *options).exception
    assert isinstance(problem, InputError)
    assert said in str(problem)
    assert "\n" not in str(problem)


@pytest.mark.long
def test_what_the_log_does_not_determine_is_not_written(files: tuple[Path, Path], tmp_path: Path) -> None:
    target = tmp_path / "new.toml"
    result = run(*files, "--unknown", "path.friction", "--unknown", "path.slope", "-o", target)
    assert "cannot separate path.friction" in result.output
    assert isinstance(result.exception, InputError)
    assert "does not determine path.friction and path.slope" in str(result.exception)
    assert not target.exists()


def test_an_estimate_that_no_rig_can_have_is_reported_and_not_written(tmp_path: Path) -> None:
    """Friction below zero: the log of a rig that is steeper than its scenario says."""
    scenario = tmp_path / "rig.toml"
    scenario.write_text(SLIDE, encoding="utf-8")
    [log], _ = logs(load(scenario), REFERENCES, 1, 8, {"path.friction": -0.05})
    log_file = written(log, tmp_path / "log.csv")
    target = tmp_path / "new.toml"
    result = run(scenario, log_file, "--unknown", "path.friction", "-o", target)
    assert "-0.0" in result.output
    assert isinstance(result.exception, InputError)
    assert "path.friction" in str(result.exception)
    assert not target.exists()


def test_a_log_the_rig_could_not_have_made_is_refused(tmp_path: Path) -> None:
    stuck = rig(SLIDE.replace("friction = 0.3", "friction = 2.0"))
    [log], _ = logs(rig(), REFERENCES, 1, 8)
    with pytest.raises(
        InputError, match=r"simulated.csv, line 2: dwell is logged, but .* does not record it"
    ):
        fit(stuck, log, FitOptions(["path.friction"]))


def test_two_references_for_one_part_are_refused() -> None:
    [log], _ = logs(rig(), REFERENCES, 1, 8)
    named = Log("log.csv", log.numbers, {"part": ("A",) * 36}, {}, log.lines, (), ())
    with pytest.raises(InputError, match="line 14: part 'A' has the reference 200 mm, expected 150 mm"):
        fit(rig(), named, FitOptions(["path.friction"]))


def test_a_fitted_table_that_is_no_covariance_is_refused(tmp_path: Path) -> None:
    from gatesim.scenario import parse_text

    table = (
        '[fitted]\nlog = "l"\nrows = 1\nheld_out = 0\nset_apart = 0\nseed = 1\ndate = 2026-01-01\n'
        'unknowns = ["path.friction"]\nquantities = ["path.friction", "path.slope"]\nestimates = [0.3, 0.7]\n'
    )
    assert parse_text(f"{SLIDE}{table}covariance = [[1.0, 0.5], [0.5, 1.0]]").fitted is not None
    for bad, said in (
        ("[[1.0, 0.5]]", "2 rows of 2"),
        ("[[1.0, 2.0], [2.0, 1.0]]", "correlations within -1 and 1"),
        ("[[1.0, 0.5], [0.4, 1.0]]", "a symmetric one"),
    ):
        with pytest.raises(InputError, match=said):
            parse_text(f"{SLIDE}{table}covariance = {bad}")


@pytest.mark.long
def test_a_fit_that_does_not_hold_says_so_wherever_its_values_are_used(tmp_path: Path) -> None:
    """Friction that changes by a hundredth over the log; the truth is closed forms."""
    from gatesim import qualify, study
    from gatesim.shopfloor.handover import HandoverOptions as Asked
    from gatesim.shopfloor.handover import gather
    from tests.plain_slide import counts, drawn_rig, log_of

    rng = np.random.default_rng(3)
    order = rng.permutation(REFERENCES)
    friction = 0.27 + np.linspace(-0.005, 0.005, len(order))
    log = log_of(counts(rng, drawn_rig(rng), order, friction), order)
    scenario, target = tmp_path / "rig.toml", tmp_path / "fitted.toml"
    scenario.write_text(SLIDE, encoding="utf-8")
    text = run(
        scenario, written(log, tmp_path / "log.csv"), "--unknown", "path.friction", "-o", target
    ).output
    assert text.startswith("DRIFT: the counts change with time, explained by path.friction")
    assert "--trend path.friction" in text
    new = load(target)
    assert new.fitted is not None
    assert not new.fitted.holds
    assert "DRIFT" in str(study(new, trials=500))
    judged = qualify(tmp_path / "log.csv", rig=new, lower="199 mm", upper="201 mm")
    assert "DRIFT" in str(judged)
    assert "DRIFT" in gather(new, Asked(lengths=(0.15, 0.26)), date(2026, 1, 1)).cautions[0]
    steady = tmp_path / "steady.toml"
    asked = ["--unknown", "path.friction", "--trend", "path.friction", "-o", steady]
    assert run(scenario, tmp_path / "log.csv", *asked).exit_code == 0
    better = load(steady)
    assert better.fitted is not None
    assert better.fitted.holds
    assert "path.friction goes from" in better.fitted.verdict


@pytest.mark.long
def test_a_part_longer_than_the_references_is_told_by_how_much_the_promise_fails(
    files: tuple[Path, Path], tmp_path: Path
) -> None:
    from gatesim import study

    target = tmp_path / "new.toml"
    result = run(*files, "--unknown", "path.friction", "--formula", "spacing-dwell", "-o", target)
    assert "so many times as large" in result.output
    new = load(target)
    assert new.fitted is not None
    assert new.fitted.outside(0.26) == ""
    assert "30 mm beyond" in new.fitted.outside(0.29)
    assert "further than the fit can tell" in new.fitted.outside(0.6)
    longer = target.read_text(encoding="utf-8").replace('length = "200 mm"', 'length = "290 mm"')
    target.write_text(longer, encoding="utf-8")
    assert "times the promised" in str(study(load(target), trials=500))


def test_one_row_and_a_reference_that_is_none_are_refused(tmp_path: Path) -> None:
    [log], _ = logs(rig(), np.array([0.2]), 1, 8)
    with pytest.raises(InputError, match="1 row is left to fit"):
        fit(rig(), log, FitOptions(["path.friction"]))
    [log], _ = logs(rig(), REFERENCES, 1, 8)
    log.numbers["reference"][18] = 1e-303
    with pytest.raises(InputError, match="line 20: reference 1e-300 mm, expected the length of a part"):
        fit(rig(), log, FitOptions(["path.friction"]))
