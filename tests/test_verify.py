"""`gatesim verify`: every entry of its tables is a test here, and a changed constant makes it fail.

Sources and published values stand beside the entries, in gatesim/shopfloor/evidence.
"""

import json
import math
import subprocess
import sys

import pytest

import gatesim
from gatesim.shopfloor.evidence.check import Check, carried_out
from gatesim.shopfloor.evidence.gather import checks
from gatesim.view.evidence import evidence_html

ALL = [
    pytest.param(topic, check, id=f"{topic}: {check.claim}", marks=[] if check.quick else pytest.mark.long)
    for topic, check in checks()
]


@pytest.mark.parametrize(("topic", "check"), ALL)
def test_claim_agrees_with_its_source(topic, check):
    finding = carried_out(topic, check)
    if finding.passed is None:
        pytest.skip(finding.remark)
    assert finding.passed, (finding.published, finding.ours, finding.remark)


def test_there_are_enough_claims_each_with_a_source_and_a_reason():
    everything = [check for _, check in checks()]
    assert len(everything) >= 60
    assert len({check.claim for check in everything}) == len(everything)
    assert all(check.source and check.reason and check.tolerance >= 0.0 for check in everything)


def one(**changes):
    given = {"claim": "1 is 1", "source": "arithmetic", "published": (1.0,), "ours": lambda: 1.0}
    return Check(**{**given, "tolerance": 0.1, "reason": "none", **changes})


@pytest.mark.parametrize(
    ("changes", "passed"),
    [
        ({}, True),
        ({"ours": lambda: 1.2}, False),
        ({"ours": lambda: math.nan}, False),
        ({"ours": lambda: (1.0, 1.0)}, False),
        ({"ours": lambda: 1 / 0}, False),
        ({"needs": "a_library_that_nobody_has"}, None),
    ],
)
def test_a_check_passes_fails_or_is_not_run(changes, passed):
    assert carried_out("motion", one(**changes)).passed is passed


def test_a_missing_library_is_said_and_never_passed():
    finding = carried_out("motion", one(needs="a_library_that_nobody_has"))
    assert finding.word == "not run, needs a_library_that_nobody_has"


FALLS_SHORT = """
from gatesim.commands.main import main
from gatesim.motion.path import Path
Path.weight = lambda self, mass: 0.9 * mass * self.gravity
main()
"""


@pytest.mark.long
def test_a_failure_is_exit_code_1_and_named():
    # in a process of its own: what the chain remembers of wrong physics must not outlive it
    command = [sys.executable, "-c", FALLS_SHORT, "verify", "--quick", "--json"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 1
    data = json.loads(done.stdout)
    assert data["failed"] >= 1
    assert "FAIL" in data["verdict"]


@pytest.mark.long
def test_the_page_has_every_claim_and_no_address_outside(tmp_path):
    found = gatesim.verify(quick=True)
    assert found.failed == 0, str(found)
    page = evidence_html(found)
    assert page.count("<article") == len(found.findings)
    assert "http" not in page
    found.save(tmp_path / "evidence.html")
    assert (tmp_path / "evidence.html").read_text(encoding="utf-8") == page
    assert {"gatesim", "Python", "numpy", "scipy"} <= set(found.versions)
