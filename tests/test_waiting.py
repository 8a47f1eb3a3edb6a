"""Long work is seen on a terminal and silent in a pipe; what takes over a minute says so first."""

import io
import subprocess
import sys
import time
from pathlib import Path

import pytest

from gatesim.api import result
from gatesim.studies import estimate
from gatesim.studies.block import Summary, run_blocks
from gatesim.studies.engine import study
from gatesim.studies.estimate import Forecast, blocks_wanted, in_words
from gatesim.studies.model import layout_of
from gatesim.studies.plan import Plan
from gatesim.studies.until import Until
from tests.study_models import MASS

CHUTE = Path(__file__).parent.parent / "scenarios" / "2-chute-slat.toml"


class Terminal(io.StringIO):
    def isatty(self):
        return True


@pytest.mark.long
def test_silent_work_shows_on_a_terminal_after_a_while_and_leaves_nothing(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(result, "PATIENCE", 0.1)
    with result.at_work("counting sheep"):
        time.sleep(0.8)
    assert "counting sheep: 00:00" in terminal.getvalue()
    assert terminal.getvalue().endswith("\r")
    quick = Terminal()
    monkeypatch.setattr(sys, "stderr", quick)
    with result.at_work("counting sheep"):
        pass
    assert quick.getvalue() == ""


@pytest.mark.parametrize("command", ["explain", "budget", "report"])
@pytest.mark.long
def test_a_pipe_sees_no_progress(tmp_path, command):
    more = ["-o", str(tmp_path / "page.html")] if command == "report" else []
    done = subprocess.run(
        [sys.executable, "-m", "gatesim", command, str(CHUTE), *more], capture_output=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, b"")


@pytest.mark.long
def test_the_blocks_that_a_target_takes_are_foretold():
    plan = Plan(trials=20_000_000, until=Until(relative=0.003))
    summary = Summary(plan.coverage, layout_of(MASS))
    for index in range(20):
        summary.add(*run_blocks(MASS, plan, {}, False, [index]), True)
    foretold = blocks_wanted(summary, plan)
    taken = study(MASS, plan, workers=1)
    assert taken.ended == "tolerance reached"
    # the scatter of 20 averages is known to a sixth, and its square enters
    assert taken.trials / plan.block == pytest.approx(foretold, rel=0.6)


def test_a_long_study_says_so_once_and_a_short_one_does_not(monkeypatch):
    now = [0.0]
    monkeypatch.setattr(estimate.time, "monotonic", lambda: now[0])
    plan, summary = Plan(trials=10_000_000), Summary(0.95, layout_of(MASS))
    forecast = Forecast(plan, 0, start=0.0)
    assert forecast.sentence(summary) == ""
    now[0], summary.blocks = 4.0, 4
    said = forecast.sentence(summary)
    left = in_words(1.0 * (plan.blocks - 4))
    assert said == f"This takes about {left} more; Ctrl-C prints what was reached."
    assert forecast.sentence(summary) == ""
    short = Forecast(Plan(trials=200_000), 0, start=0.0)
    assert short.sentence(summary) == ""
    assert [in_words(s) for s in (93.0, 300.0, 9000.0)] == ["90 s", "5 min", "2 h"]
