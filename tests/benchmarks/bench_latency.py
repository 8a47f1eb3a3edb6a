"""From the touch to the new reading, and to the new distribution, in the browser.

Run: python -m tests.benchmarks.bench_latency
The bench is opened on every shipped rig; the first gate is moved several times, each time after
the page has come to rest, and the page's own clock tells when a reading and a distribution stood there.
Aims on two quiet cores: 100 ms and 500 ms. Nothing is asserted.
"""

import os
import time
from pathlib import Path
from statistics import median

from selenium import webdriver
from selenium.webdriver.chrome.service import Service
from selenium.webdriver.support.ui import WebDriverWait
from tabulate import tabulate

from tests.benches import running
from tests.conftest import CHROMIUM, DRIVER, FLAGS

SCENARIOS = sorted((Path(__file__).parent.parent.parent / "scenarios").glob("*.toml"))
TOUCHES = 5
READY = "return Boolean(window.gatesim?.bench?.latency.distribution)"
MOVE = """
    const field = gatesim.bench.field('gate.first');
    gatesim.bench.edit('gate.first', (field.value / field.factor) * arguments[0] + ' ' + field.unit);
"""


def main() -> None:
    """Measure every rig and print a table in ms."""
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    browser = webdriver.Chrome(options=options, service=Service(DRIVER))
    rows = []
    try:
        for file in SCENARIOS:
            rows.append([file.stem, *_measured(browser, file)])
    finally:
        browser.quit()
    heads = ["rig", "reading, median", "reading, worst", "distribution, median", "distribution, worst"]
    print(f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores")
    print(tabulate(rows, heads, floatfmt=".0f"))


def _measured(browser: webdriver.Chrome, file: Path) -> list[float]:
    found: dict[str, list[float]] = {"reading": [], "distribution": []}
    with running(file) as bench:
        browser.get(bench.address)
        wait = WebDriverWait(browser, 180, 0.02)
        for touch in range(TOUCHES + 1):
            wait.until(
                lambda page: page.execute_script(
                    "return Boolean(window.gatesim?.bench?.latency.distribution)"
                )
            )
            time.sleep(1.5)
            if touch:
                told = browser.execute_script("return gatesim.bench.latency")
                for name, values in found.items():
                    values.append(told[name])
            browser.execute_script(MOVE, 1.01)
    return [figure(values) for values in found.values() for figure in (median, max)]


if __name__ == "__main__":
    main()
