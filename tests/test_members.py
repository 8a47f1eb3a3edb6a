"""A member of a family is one file and one line of its registry; everything else asks it."""

import json
import re
from typing import get_args

import pytest

from gatesim.counter import SOURCES, TIMINGS
from gatesim.inputfilter import FILTERS
from gatesim.part import ENDS, OPENINGS
from gatesim.sensor import BEAMS

from .house import PACKAGE, ROOT, answers, package_with, run

# An invented filter: the leading edge of a pulse comes late, the trailing one does not.
LATE_LEADING = '''
"""Leading edges come late."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.transition import trimmed, without_reversals
from gatesim.inputfilter.base import Filter, FilterTable


@dataclass(frozen=True)
class LateLeading(Filter):
    """Leading edges come late by ``time`` (s)."""

    time: object

    @property
    def minimum_pulse_width(self):
        """As the base has it."""
        return float(np.max(self.time))

    @property
    def stretches_to(self):
        """Nothing."""
        return 0.0

    def pass_on(self, times, draw, name):
        """As the base has it."""
        late = np.where(np.arange(times.shape[1]) % 2 == 0, np.reshape(self.time, (-1, 1)), 0.0)
        return trimmed(without_reversals(times + late))


class LateLeadingTable(FilterTable):
    """Leading edges come late."""

    kind: Literal["late-leading"]
    time: keys.Period = Field(description="How late.")

    def build(self, values) -> LateLeading:
        """As the base has it."""
        return LateLeading(values["time"])

    @property
    def setting(self):
        """On the sheet."""
        return f"leading edges late by {self.time.text}"

    @property
    def against_chatter(self):
        """In words."""
        return "shortens them"

    @property
    def when_stretched(self):
        """Nothing."""
        return ""

    def sampling(self, name):
        """None."""
        return None

    def smoothed(self):
        """Itself."""
        return self
'''
REGISTERED = (
    ("from gatesim.inputfilter.holdoff import HoldOff, HoldOffTable\n",
     "from gatesim.inputfilter.late import LateLeadingTable\n"),
    ("        HoldOffTable,\n", "        LateLeadingTable,\n"),
)  # fmt: skip

CHOICE = """
title = "Invented"
[wanted]
shortest = "100 mm"
longest = "260 mm"
tolerance = "20 mm"
[options.rig]
chute = { base = "rig.toml", set = { "gate.rearm" = "700 mm" } }
[options.filter]
new = { set = { "filter" = { kind = "late-leading", time = "2 ms" } } }
none = { set = { "filter" = { kind = "none" } } }
"""


@pytest.mark.long
def test_a_filter_added_as_one_file_and_one_line_is_known_to_every_command(tmp_path):
    folder = package_with(tmp_path, "inputfilter", "late.py", LATE_LEADING, *REGISTERED)
    rig = (ROOT / "scenarios" / "2-chute-slat.toml").read_text(encoding="utf-8")
    rig, before = re.sub(r"\[filter\]\n(.+\n)+", "", rig), rig
    assert rig != before
    (folder / "rig.toml").write_text(rig, encoding="utf-8")
    filtered = '{}\n[filter]\nkind = "late-leading"\ntime = "{}"\n'
    (folder / "new.toml").write_text(filtered.format(rig, "2 ms"), encoding="utf-8")
    (folder / "slow.toml").write_text(filtered.format(rig, "3 s"), encoding="utf-8")
    (folder / "choice.toml").write_text(CHOICE, encoding="utf-8")
    found = answers(
        folder,
        "predict|rig.toml|--json",
        "predict|new.toml|--json",
        "study|new.toml|--trials|500|--workers|1|--json",
        "explain|new.toml|--json",
        "report|new.toml|-o|report.html",
        "choose|choice.toml|--workers|1|--trials|200|--json",
        "handover|new.toml|-o|out",
        "schema",
        "predict|slow.toml|--json",
    )
    plain, new = (json.loads(said)[0] for said in found[:2])
    # both leading edges are as late: the dwell alone is shorter, by the delay in ticks of 10 us
    assert new["counts"]["capture"] == plain["counts"]["capture"]
    ticks = plain["counts"]["dwell"] - new["counts"]["dwell"]
    assert ticks * 10e-6 == pytest.approx(2e-3, abs=10.1e-6)
    shares = {share["cause"]: share["error_m"] for share in json.loads(found[3])["parts"]}
    first, second = (crossing["front_s"] for crossing in new["crossings"][:2])
    # L = s T / t: the dwell T is 2 ms short, the mean speed s / t of the leading end as it was
    assert shares["filter"] == pytest.approx(-2e-3 * 0.05 / (second - first), rel=1e-3)
    chosen = {c["options"]["filter"]: c for c in json.loads(found[5])["all"]}
    assert chosen["new"]["rms_error"] != chosen["none"]["rms_error"]
    assert "leading edges late by 2 ms" in (folder / "out" / "commissioning.html").read_text("utf-8")
    assert "late-leading" in found[7]
    assert "(late-leading) lets nothing so short pass" in json.loads(found[8])[0]["explanation"]


@pytest.mark.long
@pytest.mark.parametrize("left_out", ["setting", "against_chatter", "sampling", "smoothed", "pass_on"])
def test_a_filter_that_leaves_a_member_out_fails_when_the_package_is_imported(tmp_path, left_out):
    source = LATE_LEADING.replace(f"def {left_out}(", "def something_else(")
    folder = package_with(tmp_path, "inputfilter", "late.py", source, *REGISTERED)
    found = run(folder, "-c", "import gatesim.scenario")
    assert found.returncode != 0
    assert re.search(
        f"TypeError: LateLeading(Table)? in gatesim.inputfilter.late leaves out {left_out}", found.stderr
    )


FAMILIES = {
    "inputfilter": FILTERS.members,
    "counter": (*TIMINGS.members, *SOURCES),
    "sensor": BEAMS.members,
    "part": (*ENDS.members, *OPENINGS.members),
}


@pytest.mark.parametrize("family", FAMILIES)
def test_nobody_outside_its_folder_names_a_member(family):
    members = FAMILIES[family]
    tags = {
        tag
        for member in members
        for key in ("kind", "shape")
        if key in member.model_fields
        for tag in get_args(member.model_fields[key].annotation)
    } - {"none", "round"}  # a cross-section is round, too
    assert len(tags) >= 3
    classes = {
        name for member in members for name in (member.__name__, member.__name__.removesuffix("Table"))
    }
    # a tag counts where it is quoted: words such as "round" and "point" are English, too
    named = re.compile(
        "|".join([*(rf"[\"']{tag}[\"']" for tag in tags), *(rf"\b{name}\b" for name in classes)])
    )
    for path in PACKAGE.rglob("*.py"):
        # the evidence names what it checks, as tests do
        if not {family, "evidence"} & set(path.relative_to(PACKAGE).parts):
            found = named.search(path.read_text(encoding="utf-8"))
            assert found is None, (path, found)
