"""The Python functions: they say what the commands say, take what the commands take, and show themselves."""

import importlib
import inspect
import json
import re
import subprocess
import sys
from dataclasses import FrozenInstanceError, dataclass
from pathlib import Path
from typing import ClassVar

import matplotlib.figure
import numpy as np
import pint
import pytest
import tomlkit
from click.testing import CliRunner

import gatesim
from gatesim.commands.main import cli
from gatesim.ground.data import data_of
from tests.choices import small_choice

FOLDER = Path(__file__).parent.parent / "scenarios"
CHUTE = FOLDER / "2-chute-slat.toml"

# command, its arguments, and the same as a call
CASES = {
    "predict": ([], lambda s: gatesim.predict(s)),
    "trace": ([], lambda s: gatesim.trace(s)),
    "explain": (["--formula", "rear-edge"], lambda s: gatesim.explain(s, formula="rear-edge")),
    "study": (
        ["--trials", "300", "--seed", "7", "--coverage", "0.9"],
        lambda s: gatesim.study(s, trials=300, seed=7, coverage=0.9),
    ),
    "sweep": (
        ["--vary", "gate.spacing=60mm:90mm:2", "--show", "yield", "--trials", "200"],
        lambda s: gatesim.sweep(s, "gate.spacing=60mm:90mm:2", show="yield", trials=200),
    ),
    "budget": (
        ["--trials", "1000", "--formula", "four-edge"],
        lambda s: gatesim.budget(s, trials=1000, formula="four-edge"),
    ),
    "feed": (
        ["--parts", "200", "--rates", "10:20:2", "--gaps", "fixed"],
        lambda s: gatesim.feed(s, parts=200, rates="10:20:2", gaps="fixed"),
    ),
}


def printed(*arguments):
    found = CliRunner().invoke(cli, [str(a) for a in arguments], catch_exceptions=False)
    return found.stdout.rstrip("\n")


@pytest.mark.long
@pytest.mark.parametrize("name", CASES)
def test_a_call_says_lists_and_draws_what_the_command_does(name):
    options, call = CASES[name]
    result = call(gatesim.load(CHUTE))
    assert str(result) == printed(name, CHUTE, *options)
    listed = json.loads(printed(name, CHUTE, *options, "--json"))
    assert json.loads(json.dumps(result.data(), allow_nan=False)) == (
        listed[0] if name == "predict" else listed
    )
    with pytest.raises(FrozenInstanceError):
        result.formula = "another"
    html = result._repr_html_()
    assert html.startswith("<pre>")
    assert ("data:image/png" in html) == hasattr(result, "plot")


@pytest.mark.long
@pytest.mark.parametrize("name", ["predict", "trace", "explain", "study", "sweep", "feed"])
def test_a_picture_goes_into_axes_of_ones_own(name):
    result = CASES[name][1](gatesim.load(CHUTE))
    figure = matplotlib.figure.Figure()
    first, second = figure.subplots(1, 2)
    axes = result.plot(first)
    assert axes.get_figure(root=True) is figure
    assert second in figure.axes
    assert result.plot().get_figure(root=True) is not figure


@pytest.mark.parametrize("name", [*CASES, "compare", "choose", "fit", "qualify", "handover", "report"])
def test_the_keywords_of_a_call_are_the_options_of_its_command(name):
    command = importlib.import_module(f"gatesim.commands.{name}").command
    # files, what is done with the result, and two that Python has words of its own for
    elsewhere = {"file", "files", "as_json", "figure", "output", "unit"}
    renamed = {"least": "least_yield", "csv_file": "csv", "figures": "show"}
    options = {renamed.get(p.name, p.name) for p in command.params} - elsewhere
    keywords = set(inspect.signature(getattr(gatesim, name)).parameters)
    beyond = keywords - options
    assert options <= keywords
    assert beyond <= {"scenario", "scenarios", "options", "log", "executor", "unit"}


def test_every_command_has_one_option_for_one_thing():
    """A picture is --figure, a product -o; what has the same name is the same option."""
    seen = {}
    for name in cli.list_commands(None):
        for option in importlib.import_module(f"gatesim.commands.{name}").command.params:
            assert "-o" not in option.opts or option.name == "output"
            if option.name in (
                "as_json",
                "figure",
                "formula",
                "seed",
                "workers",
                "coverage",
                "column",
                "guard",
            ):
                said = (tuple(option.opts), option.help, str(option.type), option.default)
                assert seen.setdefault(option.name, said) == said, (name, option.name)


@pytest.mark.long
def test_a_choice_lists_its_candidates_and_saves_the_winner(tmp_path):
    file = tmp_path / "choice.toml"
    file.write_text(tomlkit.dumps(small_choice()), encoding="utf-8")
    result = gatesim.choose(file, trials=100, workers=1)
    assert str(result) == printed("choose", file, "--trials", 100, "--workers", 1)
    assert len(result.data()["all"]) == len(result.entries)
    assert result.winner is not None
    result.save(tmp_path / "won.toml")
    assert gatesim.predict(gatesim.load(tmp_path / "won.toml")).outcome == "measured"


def test_values_are_changed_together_and_pint_is_taken():
    scenario = gatesim.load(CHUTE)
    unit = pint.UnitRegistry()
    changed = scenario.with_values(
        {"gate.spacing": 80 * unit.mm, "path.friction": 0.3, "counter.frequency": "50 kHz"}
    )
    assert changed.gate.spacing.nominal == pytest.approx(0.08, rel=1e-12)
    assert changed.path.friction.nominal == 0.3
    assert changed.counter.frequency.nominal == 50e3
    assert scenario.gate.spacing.nominal != 0.08
    filtered = scenario.with_values({"filter": {"kind": "hold-off", "time": "2 ms"}})
    assert filtered.filter.kind == "hold-off"
    with pytest.raises(gatesim.InputError, match="the nearest"):
        scenario.with_values({"gate.spacin": "80 mm"})


def test_figures_come_with_their_units():
    scenario = gatesim.load(CHUTE)
    study = gatesim.study(scenario, trials=200)
    bias = study.quantity("bias")
    assert bias.to("mm").magnitude == pytest.approx(1e3 * study.bias, rel=1e-12)
    assert study.bias == study.formulas["spacing-dwell"].bias.value
    assert gatesim.predict(scenario).quantity("true_length_m").to("mm").magnitude == pytest.approx(240.0)
    with pytest.raises(KeyError, match="expected one of"):
        study.quantity("trials")


@pytest.mark.long
def test_the_hand_over_takes_lengths_in_any_form(tmp_path):
    scenario = gatesim.load(FOLDER / "1-drop-dowel.toml")
    length = scenario.part.length.nominal
    unit = pint.UnitRegistry()
    given = gatesim.handover(scenario, lengths=(0.9 * length * unit.m, f"{1.1e3 * length!r} mm"))
    assert given.stated.lengths == pytest.approx((0.9 * length, 1.1 * length), rel=1e-12)
    assert sorted(path.name for path in given.save(tmp_path / "out")) == sorted(given.files())
    with pytest.raises(gatesim.InputError, match="the lesser value first"):
        gatesim.handover(scenario, lengths=(1.1 * length, 0.9 * length))


def test_a_new_field_of_a_result_is_listed_by_itself():
    @dataclass(frozen=True)
    class Inner:
        word: str
        KEYS: ClassVar = "word"

    @dataclass(frozen=True)
    class Old:
        length: float
        hidden: int

        KEYS: ClassVar = {"length": "length_m", "hidden": None}

    @dataclass(frozen=True)
    class New(Old):
        values: np.ndarray
        inner: Inner

    listed = data_of(New(float("inf"), 3, np.array([[1.0, np.nan]]), Inner("so")))
    assert listed == {"length_m": "infinite", "values": [[1.0, None]], "inner": "so"}


def test_all_names_of_the_front_door_are_there_and_named_after_their_commands():
    for name in gatesim.__all__:
        assert getattr(gatesim, name) is not None
        assert name in dir(gatesim)
    assert set(cli.list_commands(None)) - {"schema"} <= set(gatesim.__all__)
    with pytest.raises(AttributeError):
        gatesim.predictt  # noqa: B018


PLATE = """
[part]
length = "120 mm"
height = "2 mm"
mass = "50 g"
material = "aluminium-alloy"
[path]
slope = "30 deg"
[brake]
start = "100 mm"
[brake.magnet]
geometry = "block-over-sheet"
remanence = "1.2 T"
length = "20 mm"
width = "20 mm"
height = "9 mm"
gap = "6 mm"
[gate]
first = "300 mm"
spacing = "100 mm"
[counter]
frequency = "100 kHz"
"""


@pytest.mark.long
@pytest.mark.parametrize("rig", [CHUTE.read_text(encoding="utf-8"), PLATE], ids=["chute", "magnet"])
def test_a_prediction_imports_no_heavy_package(rig, tmp_path):
    """Start-up: these are what a prediction can do without."""
    file = tmp_path / "rig.toml"
    file.write_text(rig, encoding="utf-8")
    code = (
        "import sys; from gatesim.commands.predict import command; "
        f"command([{str(file)!r}], standalone_mode=False); "
        "print(*sorted({'scipy', 'matplotlib', 'pint', 'tqdm', 'statsmodels', 'jinja2', 'tomlkit'} "
        "& set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0
    assert done.stderr.strip() == ""


def test_the_notebooks_use_nothing_but_the_front_door():
    for notebook in sorted((FOLDER.parent / "notebooks").glob("*.ipynb")):
        for line in json.loads(notebook.read_text(encoding="utf-8"))["cells"]:
            for imported in re.findall(r"^\s*(?:from|import) gatesim(\S*)", "".join(line["source"]), re.M):
                assert imported == "", f"{notebook.name} reaches into gatesim{imported}"


@pytest.mark.long
def test_passages_are_of_one_rig_and_can_be_fitted(tmp_path):
    """The truth is known here: the values that the passages were made with."""
    scenario = gatesim.load(FOLDER / "2-chute-slat.toml")
    lengths = np.repeat([0.22, 0.24, 0.26], 12)
    first = gatesim.passages(scenario, lengths, seed=5)
    again = gatesim.passages(scenario, [f"{1e3 * x:.9g} mm" for x in lengths], rig=first.rig, seed=6)
    assert again.rig == first.rig
    assert not np.array_equal(again.counts["dwell"], first.counts["dwell"])
    assert np.array_equal(gatesim.passages(scenario, lengths, seed=5).counts["dwell"], first.counts["dwell"])
    first.save(tmp_path / "log.csv")
    found = gatesim.fit(scenario, tmp_path / "log.csv", "path.friction")
    std = found.std[[p.name for p in found.forward.parameters].index("path.friction")]
    truth = first.rig.get("path.friction", scenario.path.friction.nominal)
    assert abs(found.quantity("path.friction").magnitude - truth) < 5.0 * std
