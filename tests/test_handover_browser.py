"""The commissioning sheet on a phone: everything within 360 px, every value with its heading."""

import shutil
from datetime import date
from pathlib import Path

import pytest

from gatesim.scenario import load
from gatesim.shopfloor.handover import HandoverOptions, gather
from gatesim.shopfloor.sheet import sheet
from gatesim.view.sheet import sheet_html

selenium = pytest.importorskip("selenium", reason="selenium is not installed")
CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
pytestmark = [
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs the system's Chromium and its chromedriver"),
    pytest.mark.long,
]

SCENARIOS = Path(__file__).parent.parent / "scenarios"


@pytest.mark.parametrize("name", ["3-braked-rung", "6-belt-roller"])
def test_the_sheet_fits_a_phone(name: str, tmp_path: Path) -> None:
    from selenium.webdriver import Chrome, ChromeOptions
    from selenium.webdriver.chrome.service import Service

    options = ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in ("--headless", "--no-sandbox", "--disable-gpu"):
        options.add_argument(flag)
    phone = {"deviceMetrics": {"width": 360, "height": 740, "pixelRatio": 2.0}}
    options.add_experimental_option("mobileEmulation", phone)
    page = tmp_path / "sheet.html"
    page.write_text(
        sheet_html(sheet(gather(load(SCENARIOS / f"{name}.toml"), HandoverOptions(), date(2026, 1, 31))))
    )
    browser = Chrome(options=options, service=Service(DRIVER))
    try:
        browser.get(page.as_uri())
        width = browser.execute_script("return [innerWidth, document.documentElement.scrollWidth]")
        assert width == [360, 360]
        beyond = browser.execute_script(
            "return [...document.querySelectorAll('body *')]"
            ".filter(e => e.getBoundingClientRect().right > 361).map(e => e.textContent)"
        )
        assert beyond == []
        size = browser.execute_script(
            "return Math.min(...[...document.querySelectorAll('td, li, p')]"
            ".map(e => parseFloat(getComputedStyle(e).fontSize)))"
        )
        assert size >= 14
    finally:
        browser.quit()
