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


COMMANDS = ("predict", "study", "explain", "trace", "report")


@pytest.mark.long
@pytest.mark.parametrize("kind", KINDS)
def test_a_newcomer_walks_from_nothing_to_a_report_by_what_is_printed(kind, tmp_path, monkeypatch):
    """The next command as `new` prints it, commands from --help, the key from `keys`; figures must agree."""
    monkeypatch.chdir(tmp_path)
    listed = run("--help")
    assert kind in run("new", "--help")
    said = run("new", "--kind", kind, "-o", "rig.toml")
    following = re.search(r"Next: change them, then  gatesim (.+)$", said.strip())[1].split()
    before = reading(run(*following))

    # one changed value: the key that `keys` tells of the distance between the gates
    assert "Distance from the first gate to the second" in run("keys", "gate.spacing")
    text = (tmp_path / "rig.toml").read_text(encoding="utf-8")
    changed, count = re.subn(r'(?m)^(spacing = .*?)"60 mm"', r'\1"75 mm"', text)
    assert count == 1
    (tmp_path / "rig.toml").write_text(changed, encoding="utf-8")

    for command in COMMANDS:
        assert re.search(rf"^  {command}  +[A-Z]", listed, flags=re.MULTILINE)
    predicted = run("predict", "rig.toml")
    assert "outcome: measured" in predicted
    now = reading(predicted)
    # on a belt the part is as fast at both gates, and an encoder's counts are all taken at gate 1
    assert (now != before) == (kind not in ("belt", "encoder"))
    assert "bias" in run("study", "rig.toml", "--trials", 200, "--workers", 1)
    assert f"and is read as {now} mm" in run("explain", "rig.toml")
    dwell = re.search(r"counts: dwell (\d+)", predicted)[1]
    assert re.search(rf"gate 1 light: dwell latched +{dwell}\b", run("trace", "rig.toml"))
    run("report", "rig.toml", "-o", "report.html")
    page = (tmp_path / "report.html").read_text(encoding="utf-8")
    assert now in page
    assert "<svg" in page or "<script" in page


def reading(predicted):
    """Reading in mm of the formula in charge, as `predict` prints it."""
    table = predicted.split("reading mm", 1)[1]
    return re.search(r"^\S+ +([\d.]+) +[+-]", table, flags=re.MULTILINE)[1]


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


@pytest.mark.long
def test_the_magnet_brake_can_be_written_from_the_reference_alone():
    """Every needed key with the reference's own example, and what it says a part between magnets needs."""
    tables = {(t["path"], t["choice"]): t for t in gatesim.keys().data()}
    wanted = [("part", ""), ("gate", ""), ("brake", "")]
    also = {"part": ("height", "mass", "material"), "path": ("slope",), "counter": ("frequency",)}
    lines = []
    for where in (*wanted, ("brake.magnet", 'geometry = "block-over-sheet"'), ("path", ""), ("counter", "")):
        lines.append(f"[{where[0]}]")
        for key in tables[where]["keys"]:
            if key["default"] == "" or key["key"] in also.get(where[0], ()):
                lines.append(f"{key['key']} = {_example(key)}")
    told = gatesim.predict(gatesim.parse("\n".join(lines)))
    assert told.outcome == "measured"
    assert told.figures["brake"]["peak_force_N"] > 0.0


def test_the_least_file_that_the_reference_shows_is_one_that_predicts():
    shown = run("keys").split("a line:\n", 1)[1].split("A table within", 1)[0]
    text = "\n".join(line[2:] for line in shown.splitlines())
    assert gatesim.predict(gatesim.parse(text)).outcome == "measured"


@pytest.mark.parametrize(
    ("path", "hint"),
    [("magnet", "did you mean brake.magnet?"), ("remanence", "did you mean brake.magnet.remanence?"),
     ("gate.spacng", "did you mean gate.spacing")],
)  # fmt: skip
def test_a_key_looked_up_without_its_table_is_found(path, hint):
    with pytest.raises(gatesim.InputError) as problem:
        run("keys", path)
    assert hint in str(problem.value)


def test_steel_between_magnets_is_refused_for_what_it_is():
    """Not for a conductivity that is missing: the reference lists steel among the materials."""
    for magnets in (
        'peak_force = "1 N"\ncritical_speed = "2 m/s"\nlength = "90 mm"',
        "[brake.magnet]\n" + BLOCKS,
    ):
        text = f'{RIG}\n[brake]\nstart = "5 mm"\n{magnets}\n'
        with pytest.raises(
            gatesim.InputError, match=r"part.material: given 'steel' under a .brake., expected a mat"
        ):
            gatesim.parse(text)


RIG = """
[part]
length = "120 mm"
height = "3 mm"
mass = "0.1 kg"
material = "steel"
[path]
slope = "30 deg"
[gate]
first = "300 mm"
spacing = "60 mm"
[counter]
frequency = "100 kHz"
"""
BLOCKS = """
geometry = "block-over-sheet"
remanence = "1.2 T"
length = "20 mm"
width = "20 mm"
height = "10 mm"
gap = "4 mm"
"""


def _example(key):
    found = re.search(r'such as (".*?")', key["takes"]) or re.match(r'(".*?")', key["takes"])
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
