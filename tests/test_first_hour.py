"""The first hour: a starter, the reference, the formulas, with nothing but what is printed."""

import re

import pytest
from click.testing import CliRunner

import gatesim
from gatesim.api.new import KINDS
from gatesim.commands.main import cli
from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.ground.arrays import Array
from gatesim.scenario.model import Scenario
from gatesim.scenario.modelpaths import schema_paths


def run(*arguments):
    done = CliRunner().invoke(cli, [str(a) for a in arguments], standalone_mode=False)
    if done.exception is not None:
        raise done.exception
    return done.output


@pytest.mark.parametrize("kind", KINDS)
def test_a_starter_predicts_as_it_is_and_says_that_its_values_are_invented(kind, tmp_path):
    file = tmp_path / f"{kind}.toml"
    said = run("new", "--kind", kind, "-o", file)
    assert f"gatesim predict {file}" in said
    text = file.read_text(encoding="utf-8")
    assert "EVERY VALUE IS INVENTED" in text
    assert "nvented" in gatesim.load(file).note
    assert gatesim.predict(gatesim.load(file)).outcome == "measured"
    assert str(gatesim.new(kind)) == text


@pytest.mark.parametrize("kind", KINDS)
def test_what_a_starter_comments_out_can_be_stated(kind):
    """Taking the # away of any commented line of keys gives a file that is read."""
    lines = str(gatesim.new(kind)).splitlines()
    optional = [n for n, line in enumerate(lines) if re.match(r"# [a-z_]+ = |# \[", line)]
    assert optional
    opened = [line[2:] if n in optional else line for n, line in enumerate(lines)]
    text = "\n".join(opened)
    assert gatesim.predict(gatesim.parse(text)).outcome == "measured"


def test_a_file_that_exists_is_kept(tmp_path):
    file = tmp_path / "own.toml"
    file.write_text("mine")
    with pytest.raises(gatesim.InputError, match="but it exists, expected a new name"):
        run("new", "--kind", "drop", "-o", file)
    assert file.read_text() == "mine"


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_a_newcomer_walks_from_nothing_to_a_report(kind, tmp_path):
    file, changed, page = tmp_path / "rig.toml", tmp_path / "own.toml", tmp_path / "report.html"
    run("new", "--kind", kind, "-o", file)
    changed.write_text(file.read_text(encoding="utf-8").replace("60 mm", "80 mm", 1), encoding="utf-8")
    assert "outcome: measured" in run("predict", changed)
    assert "bias" in run("study", changed, "--trials", 200, "--workers", 1)
    assert run("explain", changed)
    assert "gate 1 dark" in run("trace", changed)
    run("report", changed, "-o", page)
    assert page.stat().st_size > 10_000


def test_the_reference_has_every_key_that_the_reader_reads():
    tables = gatesim.keys().data()
    told = {
        f"{path}.{k['key']}".lstrip(".")
        for t in tables
        for path in (t["path"], *t["also"])
        for k in t["keys"]
    }
    gates = re.compile(r"sensor\.gate[123]\.")
    missing = {path for path in schema_paths(Scenario) if not gates.match(path)} - told
    assert not missing


def test_a_table_or_a_key_is_looked_up_by_its_path():
    magnet = run("keys", "brake.magnet")
    assert 'geometry = "block-over-sheet"' in magnet
    assert "remanence * = a flux density above 0" in magnet
    assert "|<--- pitch --->|" in magnet
    assert "[gate]" not in magnet
    one = run("keys", "gate.spacing")
    assert "spacing * = a length above 0" in one
    assert "first" not in one.split("spacing *")[0]
    assert "[options.NAME.NAME]" in run("keys", "--choose")
    with pytest.raises(gatesim.InputError, match="keys: given 'brak', expected a table"):
        run("keys", "brak")


def test_the_magnet_brake_can_be_written_from_the_reference_alone():
    """Every needed key of [part], [path], [brake], [brake.magnet], [gate], [counter] with its own example."""
    tables = {(t["path"], t["choice"]): t for t in gatesim.keys().data()}
    lines = []
    for where in (("part", ""), ("gate", ""), ("brake", "")):
        lines.append(f"[{where[0]}]")
        lines += [f"{k['key']} = {_example(k)}" for k in tables[where]["keys"] if k["default"] == ""]
        if where[0] == "part":  # what the reference says of a part between magnets
            lines += ['height = "3 mm"', 'mass = "200 g"', 'material = "aluminium"']
    block = tables["brake.magnet", 'geometry = "block-over-sheet"']
    lines += ["[brake.magnet]", *(f"{k['key']} = {_example(k)}" for k in block["keys"] if k["default"] == "")]
    lines += ["[path]", 'slope = "30 deg"', "[counter]", 'frequency = "100 kHz"']
    assert gatesim.parse("\n".join(lines)).brake.magnet is not None


def _example(key):
    found = re.search(r'such as (".*?")', key["takes"])
    return found[1] if found else key["takes"]


# x = v t + a t^2 / 2 (Newton's second law): a part of length L, gates at 0, S and S3
V, A, TOLD, S, S3, L = 1.3, 2.1, 1.7, 0.06, 0.4, 0.18


def _when(x):
    return (-V + (V * V + 2.0 * A * x) ** 0.5) / A


def _errors():
    dwell, front = _when(L), _when(S)
    rear = _when(L + S) - dwell
    excess = 0.5 * A * dwell * (dwell - front)
    return {
        "spacing-dwell": -excess,
        "known-acceleration": 0.5 * (TOLD - A) * dwell * (dwell - front),
        "fixed-release": 0.0,
        "rear-edge": 0.25 * A * dwell * (front + rear),
        "four-edge": 0.0,
        "three-gates": 0.0,
        "encoder-pitch": 0.0,
    }


def test_each_formula_is_off_by_what_is_printed_of_it():
    """The errors as `gatesim formulas` words them, worked out here from x = v t + a t^2 / 2."""
    said = {f["name"]: f["error_at_constant_acceleration"] for f in gatesim.formulas().data()}
    assert said["spacing-dwell"].startswith("reads short by (a/2) T (T - t_s)")
    assert said["known-acceleration"].startswith("off by ((a' - a)/2) T (T - t_s)")
    assert said["rear-edge"].startswith("reads long by (a/4) T (t_s + t_r)")
    tick, pitch = 1e-9, 1e-6

    def counts(x: float) -> Array:
        import numpy as np

        return np.array([_when(x) / tick])

    by_clock = Counts(counts(L), counts(S), counts(L + S), counts(S3))
    by_travel = Counts(*(by_clock.dwell * 0.0 + x / pitch for x in (L, S, L + S, S3)))
    constants = Constants(S, S3, tick, pitch, TOLD, V * V / (2.0 * A))
    errors = _errors()
    for name, formula in FORMULAS.items():
        used = by_travel if formula.counts_of == "travel" else by_clock
        assert said[name].startswith("none") == (errors[name] == 0.0), name
        error = float(formula.length(used, constants)[0]) - L
        assert error == pytest.approx(errors[name], abs=1e-9), name


def test_every_formula_is_printed_with_its_equation():
    printed = " ".join(run("formulas").split())
    for formula in FORMULAS.values():
        for told in (formula.name, formula.equation, formula.assumes):
            assert " ".join(told.split()) in printed
