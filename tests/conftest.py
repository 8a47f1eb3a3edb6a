"""Settings of all tests."""

import os
import shutil

import pytest
from hypothesis import settings

# matrices here are small: threads over them cost more than they bring, the more so beside other workers
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")

# a slow machine is not a wrong result
settings.register_profile("gatesim", deadline=None, print_blob=True)
settings.load_profile("gatesim")


def pytest_collection_modifyitems(items):
    """The longest first, as ``long(seconds=...)`` says, so that no core waits for another at the end."""
    items.sort(key=_seconds, reverse=True)  # keeps the others in order, and what they share together


def _seconds(item):
    mark = item.get_closest_marker("long")
    return mark.kwargs.get("seconds", 0) if mark else 0


CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
DRIVER = shutil.which("chromedriver")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('profile')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(DRIVER))
    yield driver
    driver.quit()
