"""A length formula is one file and one line of the registry; everything else asks it."""

import json
import re
from pathlib import Path

import pytest

import gatesim
from gatesim.formula import FORMULAS, Formula
from gatesim.ground.family import check_complete

from .house import ROOT, answers, package_with, run

# An invented formula: the dwell times the trailing end's speed alone.
NEW = '''
"""Dwell times the speed of the trailing end from gate to gate."""

from gatesim.formula.base import Formula, ratio
from gatesim.formula.seen import through_the_gates


class TrailingSpeed(Formula):
    """L = s T / t_r."""

    name = "trailing-speed"
    equation = "L = s T / t_r"
    needs = "dwell at gate 1, the trailing edge at gate 2"
    idea = "Dwell times the trailing end's speed"
    assumes = "that the part passes gate 1 as fast as its trailing end goes on to gate 2"
    registers = ("dwell", "capture", "rear_capture")
    constants = ("spacing",)
    counts_of = "either"
    at_constant_acceleration = "reads long"
    one_speed = False

    def length(self, counts, constants):
        """See the class."""
        return constants.spacing * ratio(counts.dwell, counts.rear_capture - counts.dwell)

    def assumed_motion(self, seen, constants):
        """Uniform."""
        return through_the_gates(seen, 0.0)

    def integer_form(self, k, constants, ranges, fine):
        """As it stands."""
        k.constant("SPACING", constants.spacing / fine, "distance from gate 1 to gate 2")
        k.step("product", "multiply", "SPACING", "dark")
        return k.step("plain", "divide", "product", "transit")


FORMULA = TrailingSpeed()
'''

CHOICE = """
title = "Invented"
[wanted]
shortest = "100 mm"
longest = "260 mm"
tolerance = "20 mm"
[options.rig]
chute = { base = "2-chute-slat.toml", set = { "gate.rearm" = "700 mm" }, cost = 20 }
[options.formula]
new = { set = { "formula.use" = ["trailing-speed"] } }
old = { set = { "formula.use" = ["spacing-dwell"] } }
"""

FILE, LINE = "trailing_speed.py", ('    "four_edge",\n', '    "trailing_speed",\n')


@pytest.mark.long
def test_a_formula_added_as_one_file_and_one_line_is_known_to_every_command(tmp_path: Path) -> None:
    folder = package_with(tmp_path, "formula", FILE, NEW, LINE)
    rig = (ROOT / "scenarios" / "2-chute-slat.toml").read_text()
    (folder / "2-chute-slat.toml").write_text(rig)
    (folder / "new.toml").write_text(rig + '[formula]\nuse = ["trailing-speed", "spacing-dwell"]\n')
    (folder / "choice.toml").write_text(CHOICE)
    commands = [
        "predict|new.toml|--json",
        "predict|2-chute-slat.toml",
        "study|new.toml|--trials|500|--workers|1|--json",
        "explain|new.toml",
        "explain|2-chute-slat.toml|--json",
        "report|new.toml|-o|report.html",
        "choose|choice.toml|--workers|1|--trials|200|--json",
        "handover|new.toml|-o|out",
        "schema",
    ]
    found = answers(folder, *commands)
    predicted = json.loads(found[0])[0]
    counts = predicted["counts"]
    read = predicted["readings"][0]
    assert read["formula"] == "trailing-speed"
    assert read["length_m"] == pytest.approx(
        0.05 * counts["dwell"] / (counts["rear_capture"] - counts["dwell"]), rel=1e-12
    )
    for number, command in enumerate(commands):
        if command.split("|")[0] not in ("report", "handover", "choose"):
            assert "trailing-speed" in found[number], command
    assert "as fast as its trailing end goes on" in " ".join(found[3].split())
    assert "Dwell times the trailing end's speed" in " ".join(found[4].split())
    assert "trailing-speed" in (folder / "report.html").read_text()
    chosen = {c["options"]["formula"]: c for c in json.loads(found[6])["all"]}
    assert chosen["new"]["rms_error"] != chosen["old"]["rms_error"]
    assert "trailing-speed: L = s T / t_r" in (folder / "out" / "Length_trailing_speed.st").read_text()


@pytest.mark.long
@pytest.mark.parametrize(
    ("whole", "partial", "said"),
    [
        ("    def assumed_motion", "    def something_else", "assumed_motion"),
        ("    one_speed = False", "    two_speeds = False", "leaves out one_speed"),
        ('constants = ("spacing",)', 'constants = ("humidity",)', "asks for humidity, which no rig has"),
        ('name = "trailing-speed"', 'name = "trailing speed"', "expected words joined by -"),
    ],
)
def test_a_formula_with_a_member_missing_or_wrong_fails_when_the_package_is_imported(
    tmp_path: Path, whole: str, partial: str, said: str
) -> None:
    assert whole in NEW
    folder = package_with(tmp_path, "formula", FILE, NEW.replace(whole, partial), LINE)
    found = run(folder, "-c", "import gatesim.formula")
    assert found.returncode != 0
    assert "TypeError" in found.stderr
    assert said in found.stderr


ASKED = (*Formula.__annotations__, *Formula.__abstractmethods__)


@pytest.mark.parametrize("left_out", sorted(ASKED))
def test_every_member_is_asked_for_by_name(left_out: str) -> None:
    example = type(FORMULAS["four-edge"])
    body = {key: getattr(example, key) for key in ASKED if key != left_out}
    with pytest.raises(TypeError, match=f"leaves out {left_out}$"):
        check_complete(type("Partial", (Formula,), body))


def test_nobody_outside_its_folder_names_a_formula() -> None:
    package = Path(gatesim.__file__).parent
    names = re.compile("|".join(re.escape(name) for name in FORMULAS))
    for path in package.rglob("*"):
        # the evidence names what it checks, as tests do
        elsewhere = not {"formula", "evidence"} & set(path.relative_to(package).parts)
        if path.suffix in (".py", ".js", ".j2") and elsewhere:
            assert not names.search(path.read_text(encoding="utf-8")), path
