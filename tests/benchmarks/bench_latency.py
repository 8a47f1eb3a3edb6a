"""From the touch to the new reading, and to the new distribution, in the browser; and what each stage costs.

Run: python -m tests.benchmarks.bench_latency [SCENARIO ...]
The bench is opened on every shipped rig; the first gate is moved several times, each time after
the page has come to rest, and the page's own clock tells when a reading and a distribution stood there.
Aims on two quiet cores: 100 ms and 500 ms. On a machine with other work those times say little, so the
processor time of every stage of the server stands beside them, each in this process, after such a move.
Nothing is asserted.
"""

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import Any

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait
from tabulate import tabulate

from gatesim.api.answers import Answers
from gatesim.scenario import load
from gatesim.scenario.reader import changed
from gatesim.studies.workers import InThisProcess
from gatesim.view.bench.desk import FIRST_LOOK
from gatesim.view.bench.fields import groups
from tests.benches import running
from tests.conftest import CHROMIUM, DRIVER, FLAGS

SCENARIOS = sorted((Path(__file__).parent.parent.parent / "scenarios").glob("*.toml"))
TOUCHES = 5
FURTHER = 1.01  # how much further the gate is than before, each time
answers = Answers()
STAGES = ("reading", "fields", "pictures", "causes", "distribution")
READY = "return Boolean(window.gatesim?.bench?.latency.distribution)"
MOVE = """
    const field = gatesim.bench.field('gate.first');
    gatesim.bench.edit('gate.first', (field.value / field.factor) * arguments[0] + ' ' + field.unit);
"""


def main(files: list[Path]) -> None:
    """Measure every rig and print a table in ms."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    costs = {file: _costs(file) for file in files}  # before anything else is running
    browser = webdriver.Chrome(options=options, service=Service(DRIVER))
    rows = []
    try:
        for file in files:
            rows.append([file.stem, *_measured(browser, file), *costs[file]])
    finally:
        browser.quit()
    heads = ["rig", "reading:\nmedian", "worst", "distribution:\nmedian", "worst"]
    heads += [f"processor:\n{STAGES[0]}", *STAGES[1:]]
    print(f"ms; load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(tabulate(rows, heads, floatfmt=".0f"))


def _costs(file: Path) -> list[float]:
    """Processor time of the stages in ms, medians over moves of the first gate."""
    scenario, found = load(file), []
    for touch in range(TOUCHES + 1):
        first = scenario.gate.first
        scenario = changed(scenario, "gate.first", f"{FURTHER * first.nominal!r} m")
        (_, passed), reading = _timed(lambda rig=scenario: answers.reading(rig))
        stages: list[Callable[[], Any]] = [
            lambda rig=scenario: groups(rig),
            lambda rig=scenario, at=passed: answers.passage(rig, at),
            lambda rig=scenario, at=passed: answers.why(rig, at),
            lambda rig=scenario, at=passed: answers.distribution(rig, at, FIRST_LOOK, InThisProcess()),
        ]
        costs = [reading, *(_timed(stage)[1] for stage in stages)]
        if touch:
            found.append(costs)
    return [median(column) for column in zip(*found, strict=True)]


def _timed(work: Callable[[], Any]) -> tuple[Any, float]:
    begun = time.process_time()
    found = work()
    return found, 1e3 * (time.process_time() - begun)


def _measured(browser: webdriver.Chrome, file: Path) -> list[float]:
    """Median and worst time in ms to the reading, and to the distribution."""
    found: dict[str, list[float]] = {"reading": [], "distribution": []}
    with running(file) as bench:
        browser.get(bench.address)
        for touch in range(TOUCHES + 1):
            WebDriverWait(browser, 180, 0.02).until(lambda page: page.execute_script(READY))
            time.sleep(1.5)
            if touch:
                told = browser.execute_script("return gatesim.bench.latency")
                for name, values in found.items():
                    values.append(told[name])
            browser.execute_script(MOVE, FURTHER)
    return [figure(values) for values in found.values() for figure in (median, max)]


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or SCENARIOS)
