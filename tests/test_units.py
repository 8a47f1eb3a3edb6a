"""The unit that lengths are shown in: of every command, in text and figures, and never in JSON."""

import json
import re
from pathlib import Path

import numpy as np
import pytest
import tomlkit
from click.testing import CliRunner

import gatesim
from gatesim.commands.main import cli
from gatesim.view.lengthunit import UNITS, unit_of
from tests.choices import small_choice
from tests.texts import drawn_texts, outside, overlapping

FOLDER = Path(__file__).parent.parent / "scenarios"
CHUTE, BRAKE = str(FOLDER / "2-chute-slat.toml"), str(FOLDER / "3-braked-rung.toml")
INCH = UNITS["in"]


@pytest.fixture(scope="module")
def logs(tmp_path_factory):
    """A log of counts and one of lengths, of an invented rig, and a file of `choose`."""
    folder = tmp_path_factory.mktemp("logs")
    lengths = np.repeat([0.23, 0.24, 0.25], 12)
    gatesim.passages(gatesim.load(CHUTE), lengths, seed=3).save(folder / "counts.csv")
    rng = np.random.default_rng(2)
    rows = ["length [mm],reference [mm],part,operator"]
    rows += [f"{240.02 + 0.02 * rng.standard_normal():.3f},240,," for _ in range(50)]
    rows[7] = "252,240,,"  # a gross one
    for part in range(6):
        for operator in "AB":
            readings = 239.5 + 0.2 * part + 0.02 * rng.standard_normal(2)
            rows += [f"{reading:.3f},,p{part},{operator}" for reading in readings]
    (folder / "lengths.csv").write_text("\n".join(rows))
    (folder / "choice.toml").write_text(tomlkit.dumps(small_choice()), encoding="utf-8")
    return folder


def printed(*arguments):
    done = CliRunner().invoke(cli, [str(a) for a in arguments], catch_exceptions=False)
    return done.stdout


def cases(logs):
    return {
        "predict": [CHUTE],
        "trace": [CHUTE],
        "explain": [BRAKE],
        "study": [CHUTE, "--trials", 200, "--workers", 1],
        "sweep": [CHUTE, "--vary", "gate.spacing=60mm:90mm:3", "--trials", 100, "--workers", 1],
        "budget": [CHUTE, "--trials", 1000, "--workers", 1],
        "compare": [CHUTE, BRAKE, "--trials", 128, "--workers", 1],
        "choose": [logs / "choice.toml", "--trials", 60, "--workers", 1],
        "fit": [CHUTE, logs / "counts.csv", "--unknown", "path.friction"],
        "qualify": [logs / "lengths.csv", "--lower", "239.5 mm", "--upper", "240.5 mm"],
    }


NAMES = ["predict", "trace", "explain", "study", "sweep", "budget", "compare", "choose", "fit", "qualify"]
PICTURED = set(NAMES) - {"predict", "budget"}


@pytest.mark.long
@pytest.mark.parametrize("name", NAMES)
def test_every_command_that_prints_lengths_has_the_unit_in_text_figure_and_not_in_json(name, logs, tmp_path):
    arguments = cases(logs)[name]
    assert re.search(r"\bmm\b", printed(name, *arguments))
    for unit in ("in", "um"):
        text = printed(name, *arguments, "--unit", unit)
        left = [line for line in text.splitlines() if re.search(r"\bmm\b", line)]
        if name == "choose":  # names of options are the user's own
            assert "Winner" in text
            left = [line for line in left if not re.search(r"= \d+ mm|\d mm(,|$)", line)]
        assert left == []
        assert re.search(rf"\b{unit}\b", text)
    if name in PICTURED:
        product = "-o" if name == "compare" else "--figure"
        file = tmp_path / f"{name}.png"
        printed(name, *arguments, "--unit", "in", product, file)
        assert file.stat().st_size > 5000
    plain = printed(name, *arguments, "--json")
    assert json.loads(plain) == json.loads(printed(name, *arguments, "--json", "--unit", "in"))


@pytest.fixture(scope="module")
def results(logs):
    chute = gatesim.load(CHUTE)
    return [
        gatesim.predict(chute),
        gatesim.trace(chute),
        gatesim.explain(chute),
        gatesim.study(chute, trials=200, workers=1),
        gatesim.sweep(chute, "gate.spacing=60mm:90mm:3", trials=100, workers=1),
        gatesim.sweep(chute, ["gate.spacing=60mm:90mm:3", "gate.first=0.2m:0.6m:3"], trials=50, workers=1),
        gatesim.choose(logs / "choice.toml", trials=60, workers=1),
        gatesim.qualify(logs / "lengths.csv", lower="239.5 mm", upper="240.5 mm"),
    ]


@pytest.mark.long
@pytest.mark.parametrize("unit", ["mm", "in", "um"])
def test_axes_carry_the_unit_and_texts_do_not_overlap(unit, results):
    for result in results:
        figure = result.plot(unit=unit).get_figure(root=True)
        name = type(result).__name__
        texts = drawn_texts(figure)
        assert overlapping(texts) == [], name
        assert outside(texts, figure.bbox) == [], name
        said = " ".join(text for text, _ in texts)
        assert re.search(rf"\b{unit}\b", said), name
        others = {"mm", "in", "um"} - {unit, "in"}
        assert not any(re.search(rf"(?:/|\d) {other}\b", said) for other in others), name


@pytest.mark.long
def test_a_reading_is_the_same_length_in_every_unit():
    found = gatesim.predict(gatesim.load(CHUTE))
    for unit, factor in (("mm", 1e3), ("um", 1e6), ("in", 1.0 / 0.0254)):
        line = next(line for line in found.text(unit).splitlines() if line.startswith("four-edge"))
        reading, error = (float(cell) for cell in line.split()[1:3])
        assert reading == pytest.approx(factor * found.reading("four-edge").length_m, abs=factor * 1e-6)
        assert error == pytest.approx(factor * found.reading("four-edge").error_m, abs=factor * 1e-6)


@pytest.mark.parametrize(
    ("sentence", "inches"),
    # 25.4 mm are 1 in by definition (the international yard and pound agreement of 1959)
    [
        ("reads 25.4 mm long", "reads 1 in long"),
        ("the first 50 mm only", "the first 1.969 in only"),
        ("from -2.54 to +2.54 mm", "from -0.1 to +0.1 in"),
        ("nearest 127 and 254 mm", "nearest 5 and 10 in"),
        ("u = 1.2e-02 mm there", "u = 0.00047 in there"),
        ("240\u00a0mm on", "9.449\u00a0in on"),
        ("exactly 0 mm", "exactly 0 in"),
        ("from gate 1 to 254 mm", "from gate 1 to 10 in"),
        ("gates 1 and 254 mm", "gates 1 and 10 in"),
        ("3 mm^2 and 4 mm/s stay, as does gate.2 mm", "3 mm^2 and 4 mm/s stay, as does gate.2 mm"),
    ],
)
def test_lengths_in_a_sentence_are_restated(sentence, inches):
    assert INCH.said(sentence) == inches
    assert unit_of("mm").said(sentence) == sentence


def test_no_digit_of_a_table_is_lost():
    for unit in UNITS.values():
        assert unit.fixed(0.1234567, 3) == f"{0.1234567 * unit.per_metre:.{unit.places(3)}f}"
        assert 10.0 ** -unit.places(3) <= 1e-6 * unit.per_metre * 1.0001
    assert INCH.signed(-1e-9, 3) == "0.00000"
    assert INCH.fixed(None, 3) == "-"


@pytest.mark.long
def test_the_report_is_written_in_the_unit_from_the_first_word_to_its_scripts(tmp_path):
    page = tmp_path / "report.html"
    printed("report", CHUTE, "-o", page, "--trials", 1000, "--workers", 1, "--unit", "in")
    html = page.read_text(encoding="utf-8")
    body, script = html.split("<script>")
    body = re.sub(
        r"<style>.*?</style>|<details>.*?</details>", "", body, flags=re.DOTALL
    )  # as the file has it
    assert not re.search(r"\bmm\b", body)
    assert "<dd>9.44882 in</dd>" in body
    assert '"LENGTH": "in"' in script
    assert '"MM": 39.37' in script
