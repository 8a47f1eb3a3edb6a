"""A force is one file and one line of the registry; everything else asks it."""

import json
import math
import re
from pathlib import Path

import pytest

import gatesim
from gatesim.chain.alike import NOT_MOTION
from gatesim.chain.assembly import forces_of, part_of, path_of
from gatesim.chain.controller import nominal_values
from gatesim.motion import FORCES
from gatesim.motion.force.airdrag import AirDrag, AirTable
from gatesim.motion.registry import ForceTable
from gatesim.scenario import Scenario, load
from gatesim.scenario.reader import changed

from .house import answers, package_with, run

ROOT = Path(__file__).parent.parent

# An invented force: a rail wetted with oil, F = -b v over the whole path.
NEW = '''
"""Oil on the rail."""

from dataclasses import dataclass
from typing import ClassVar

from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.caution import Caution
from gatesim.ground.suggestion import Suggestion
from gatesim.motion.force.base import Drawn, Force, ForceTable


@dataclass(frozen=True)
class Oil(Force):
    """F = -b v."""

    coefficient: float
    steady: ClassVar[bool] = False

    def kinks(self, part):
        return ()

    def strength(self, x, part, path):
        return -self.coefficient

    def law(self, v):
        return v

    def slope(self, v):
        return 1.0 + 0.0 * v

    def added_mass(self, x):
        return 0.0

    def crest(self, part):
        return None

    def runaway_words(self, part, path, ratio, gain):
        return ""


class OilTable(ForceTable):
    """A rail wetted with oil."""

    key: ClassVar[str] = "oil"
    needs_mass: ClassVar[bool] = True
    drives: ClassVar[bool] = False
    carries: ClassVar[bool] = False
    takes_rolling: ClassVar[bool] = False
    coefficient: keys.Drag = Field(description="Force over speed.")

    def check(self):
        """Any value fits."""

    def build(self, values, part, path) -> Oil:
        return Oil(values["coefficient"])

    def caution(self):
        return Caution("Oil on the rail", "it makes floors slippery: wipe up what drips.")

    def drawn(self):
        return Drawn("magnets", 0.0, 0.2, "hatched bars the oil")

    @classmethod
    def suggested(cls, situation):
        return Suggestion("oil on the rail", "brings friction", {"oil": {"coefficient": "0.05 kg/s"}})
'''

CHOICE = """
title = "Invented"
[wanted]
shortest = "100 mm"
longest = "260 mm"
tolerance = "40 mm"
[options.rig]
chute = { base = "2-chute-slat.toml", set = { "gate.rearm" = "700 mm", "part.mass" = "0.2 kg" }, cost = 20 }
[options.oil]
dry = {}
wet = { set = { "oil.coefficient" = "0.3 kg/s" } }
wetter = { set = { "oil.coefficient" = "0.5 kg/s" } }
[options.formula]
one = { set = { "formula.use" = ["spacing-dwell"] } }
"""


def package(folder: Path, source: str) -> Path:
    """A copy of the package in ``folder`` with one force more, by one file and one line."""
    launch = "from gatesim.motion.force.launch import LaunchTable\n"
    oil = launch.replace("launch", "oil").replace("Launch", "Oil")
    lines = ((launch, oil), ("    LaunchTable,\n", "    OilTable,\n"))
    return package_with(folder, "motion", "force/oil.py", source, *lines, registry="registry.py")


@pytest.mark.long
def test_a_force_added_as_one_file_and_one_line_is_known_to_every_command(tmp_path: Path) -> None:
    folder = package(tmp_path, NEW)
    rig = (ROOT / "scenarios" / "2-chute-slat.toml").read_text()
    rig = re.sub(r"^mass = .*\n", "", rig, flags=re.MULTILINE)
    rig = rig.replace("[part]\n", '[part]\nmass = "0.2 kg"\n')
    (folder / "2-chute-slat.toml").write_text(rig)
    (folder / "new.toml").write_text(rig + '[oil]\ncoefficient = "0.3 kg/s"\n')
    (folder / "choice.toml").write_text(CHOICE)
    commands = [
        "predict|new.toml|--json",
        "study|new.toml|--trials|500|--workers|1|--json",
        "explain|new.toml|--json",
        "explain|2-chute-slat.toml|--json",
        "report|new.toml|-o|report.html",
        "choose|choice.toml|--workers|1|--trials|200|--json",
        "handover|new.toml|-o|out",
        "feed|new.toml|--parts|200|--json",
        "schema",
    ]
    told = answers(folder, *commands)
    predicted = json.loads(told[0])[0]
    assert predicted["true_length_m"] == pytest.approx(0.24)
    # m dv/dt = m a - b v from rest: v = v_s (1 - exp(-b t/m)), v_s = m a/b, at gate 1
    speed = speed_at(load(ROOT / "scenarios" / "2-chute-slat.toml"), mass=0.2, drag=0.3)
    assert predicted["crossings"][0]["front_speed_m_per_s"] == pytest.approx(speed, rel=1e-9)
    assert "oil on the rail" in told[3]
    page = (folder / "report.html").read_text()
    assert "Oil on the rail" in page
    assert "hatched bars the oil" in page
    assert "Oil on the rail" in "".join(p.read_text() for p in (folder / "out").glob("*.html"))
    assert '"oil"' in told[-1]
    chosen = {c["options"]["oil"]: c for c in json.loads(told[5])["all"]}
    assert len({c["rms_error"] for c in chosen.values()}) == 3


def speed_at(scenario: Scenario, mass: float, drag: float) -> float:
    """Speed at gate 1 by Newton's second law with linear drag, solved for the time by bisection."""
    slope, friction = scenario.path.slope.nominal, scenario.path.friction.nominal
    a = scenario.path.gravity.nominal * (math.sin(slope) - friction * math.cos(slope))
    k = drag / mass
    low, high = 0.0, 10.0
    for _ in range(200):
        t = 0.5 * (low + high)
        travel = a / k * (t - (1.0 - math.exp(-k * t)) / k)
        low, high = (t, high) if travel < scenario.gate.first.nominal else (low, t)
    return a / k * (1.0 - math.exp(-k * low))


@pytest.mark.long
@pytest.mark.parametrize(
    ("there", "missing"),
    [("def caution", "caution"), ("def crest", "crest"), ("drives: ClassVar[bool] = False", "drives")],
)
def test_a_force_that_leaves_a_member_out_fails_when_the_package_is_imported(
    tmp_path: Path, there: str, missing: str
) -> None:
    folder = package(tmp_path, NEW.replace(there, there.replace(missing, "something_else")))
    found = run(folder, "-c", "import gatesim.motion")
    assert found.returncode != 0
    assert f"leaves out {missing}" in found.stderr


def test_every_force_says_all_that_is_asked_of_it() -> None:
    asked = {*ForceTable.__abstractmethods__, "key", "needs_mass", "drives", "carries", "takes_rolling"}
    for force in FORCES:
        assert not [name for name in asked if not hasattr(force, name)]
    assert AirTable.build.__annotations__["return"] is AirDrag


OTHERS = {
    "title": "another",
    "note": "another",
    "sensor": {"jitter": "1 us"},
    "filter": {"kind": "none"},
    "counter": {"frequency": "3 kHz"},
    "formula": {"zero": "1 mm"},
    "requirement": {"upper_limit": "1 m"},
    "follower": {"interval": "10 s"},
}


def test_what_is_known_not_to_touch_the_motion_leaves_part_path_and_forces_as_they_are() -> None:
    assert set(OTHERS) == set(NOT_MOTION)
    for file in sorted((ROOT / "scenarios").glob("[1-5]-*.toml")):
        scenario = load(file)
        for table, value in OTHERS.items():
            assert moving(changed(scenario, table, value)) == moving(scenario), table


def test_every_other_table_of_a_scenario_is_taken_to_touch_the_motion() -> None:
    touching = set(Scenario.model_fields) - set(NOT_MOTION)
    # quantities that go together may be those of the part
    assert touching == {"part", "path", "gate", "correlation", "fitted", *(force.key for force in FORCES)}


def moving(scenario: Scenario) -> tuple[object, ...]:
    values = nominal_values(scenario)
    part, path = part_of(scenario, values), path_of(values)
    return part, path, forces_of(scenario, values, part, path)


def test_nobody_outside_its_folder_asks_a_scenario_for_a_force_by_name() -> None:
    package = Path(gatesim.__file__).parent
    names = "|".join(force.key for force in FORCES)
    asking = re.compile(rf"(?:scenario|\bs)\.(?:{names})\b|(?:EddyBrake|AirDrag|Launch)\(")
    for path in package.rglob("*.py"):
        # evidence holds the stages to closed forms, as tests do: it builds them itself
        if not {"motion", "evidence"} & set(path.relative_to(package).parts):
            assert not asking.search(path.read_text(encoding="utf-8")), path
