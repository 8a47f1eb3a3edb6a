"""Makes bench.png, the README's picture of the bench. Needs Chromium and pillow."""

import base64
import io
import sys
from pathlib import Path

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE.parent))

from PIL import Image  # noqa: E402
from selenium import webdriver  # noqa: E402
from selenium.webdriver.chrome.service import Service  # noqa: E402
from selenium.webdriver.support.ui import WebDriverWait  # noqa: E402

from tests.benches import running  # noqa: E402
from tests.conftest import CHROMIUM, DRIVER, FLAGS  # noqa: E402

SIZE = {"width": 1400, "height": 1000, "deviceScaleFactor": 1, "mobile": False}
COLOURS = 64
DONE = "return Boolean(window.gatesim?.bench?.latency.changes)"
KEEP_AND_MOVE = """
    document.getElementById('pin').click();
    gatesim.bench.edit('gate.spacing', '90 mm');
"""


def main() -> None:
    """Open the bench on a shipped rig, keep it as A, move a gate, and make a small picture of all that."""
    options = webdriver.ChromeOptions()
    options.add_argument("--hide-scrollbars")
    options.binary_location = CHROMIUM
    for flag in FLAGS:
        options.add_argument(flag)
    browser = webdriver.Chrome(options=options, service=Service(DRIVER))
    try:
        with running("scenarios/2-chute-slat.toml", cwd=HERE.parent) as bench:
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", SIZE)
            browser.get(bench.address)
            for script in (KEEP_AND_MOVE, "document.activeElement.blur();"):
                WebDriverWait(browser, 240).until(lambda page: page.execute_script(DONE))
                browser.execute_script(script)
            shot = browser.execute_cdp_cmd("Page.captureScreenshot", {"format": "png"})["data"]
    finally:
        browser.quit()
    picture = Image.open(io.BytesIO(base64.b64decode(shot))).convert("RGB")
    picture.resize((1050, 750), Image.Resampling.LANCZOS).quantize(COLOURS).save(
        HERE / "bench.png", optimize=True
    )


if __name__ == "__main__":
    main()
