"""The report in a browser: no error, and the slider moves part, signals and counts together."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from gatesim.api.trace import trace
from gatesim.commands.trace import command as trace_command
from gatesim.scenario import load, parse_text
from gatesim.scenario.reader import changed
from gatesim.view.report import report_html
from tests.conftest import CHROMIUM, DRIVER

selenium = pytest.importorskip("selenium", reason="selenium is not installed")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="needs the system's Chromium and its chromedriver"
)

FOLDER = Path(__file__).parent.parent / "scenarios"
CHUTE = FOLDER / "2-chute-slat.toml"

# least contrast of text to its ground by kind of element: ratio and relative luminance as in WCAG 2.2
# (1.4.3 asks for 4.5 : 1)
CONTRASTS = """
    const part = (v) => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
    const light = (colour) => {
      const [r, g, b] = colour.match(/[\\d.]+/g).map(Number);
      return 0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b);
    };
    const ground = (node) => {
      for (; node; node = node.parentElement) {
        const colour = getComputedStyle(node).backgroundColor;
        if (!/, 0\\)$/.test(colour)) return colour;
      }
      return "rgb(255, 255, 255)";
    };
    const found = {};
    const kinds = "p, dt, dd, th, td, a, button, output, h1, h2, h3, li, .tag, .how";
    for (const node of document.querySelectorAll(kinds)) {
      if (!node.textContent.trim()) continue;
      const [a, b] = [light(getComputedStyle(node).color), light(ground(node))];
      const key = node.tagName + "." + node.className;
      found[key] = Math.min(found[key] ?? 99, (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05));
    }
    return found;
"""


@pytest.fixture
def opened(browser, tmp_path):
    def open_page(scenario, width=1000, dark=False):
        target = tmp_path / "report.html"
        target.write_text(report_html(scenario), encoding="utf-8")
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": [scheme]})
        size = {"width": width, "height": 900, "deviceScaleFactor": 1, "mobile": False}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        browser.get(target.as_uri())
        return browser

    yield open_page
    assert browser.get_log("browser") == []  # neither on opening nor through what the test did


def scrub(page, index):
    page.execute_script(
        "const s = document.getElementById('scrub'); s.value = arguments[0];"
        "s.dispatchEvent(new Event('input', { bubbles: true }));",
        index,
    )


def shown(page):
    rows = page.execute_script(
        "return [...document.querySelectorAll('#now > div, #registers > div')]"
        ".map((row) => [row.children[0].textContent, row.children[1].textContent]);"
    )
    return dict(rows)


@pytest.mark.long
@pytest.mark.parametrize("file", sorted(FOLDER.glob("[1-6]-*.toml")), ids=lambda f: f.stem)
def test_it_opens_without_an_error_and_asks_for_nothing(opened, file):
    page = opened(load(file))
    requested = page.execute_script(
        "return performance.getEntriesByType('resource').map((entry) => entry.name);"
    )
    assert [name for name in requested if not name.startswith("data:")] == []


@pytest.mark.long
def test_the_slider_moves_the_part_and_the_counts_agree_with_the_trace(opened):
    printed = CliRunner().invoke(trace_command, [str(CHUTE), "--json"])
    told, page = json.loads(printed.stdout), opened(load(CHUTE))
    seen = []
    for index in (0, 100, 255, 262, 300, 340, 400):
        scrub(page, index)
        rows, t = shown(page), told["time_s"][index]
        assert rows[f"count ({told['counts']})"] == str(told["count"][index])
        for gate in told["gates"]:
            dark = sum(edge <= t for edge in gate["filtered_s"]) % 2 == 1
            assert rows[f"gate {gate['gate']}"].endswith("dark" if dark else "light")
        for moment in told["moments"]:
            expected = (
                "" if moment["time_s"] > t else "done" if moment["count"] is None else str(moment["count"])
            )
            assert rows[moment["name"]] == expected
        part = page.find_element("css selector", ".part")
        position = told["parts"][0]["position_m"][index]
        if position is None:
            assert not part.is_displayed()
        else:
            assert float(part.get_attribute("data-travel")) == pytest.approx(position, rel=1e-6, abs=1e-9)
            seen.append(part.get_attribute("points"))
    assert len(set(seen)) == len(seen) > 3


@pytest.mark.long
def test_registers_are_those_of_the_part_that_is_being_counted(opened):
    scenario = changed(load(CHUTE), "follower", {"interval": "0.35 s", "count": 2})
    told, page = trace(scenario).data(), opened(scenario)
    for index in (200, 300, 380):
        scrub(page, index)
        begun = [m["cycle"] for m in told["moments"] if m["time_s"] <= told["time_s"][index]]
        cycle = max(begun)
        latched = {m["count"] for m in told["moments"] if m["cycle"] == cycle and m["register"] == "capture"}
        suffix = f" (part {cycle + 1})" if cycle else ""
        assert {shown(page)[f"gate 2 dark: capture latched{suffix}"]} <= {str(n) for n in latched} | {""}
    assert cycle == 2


@pytest.mark.long
def test_beams_darken_as_the_part_covers_them(opened):
    scenario = load(CHUTE)
    told, page = trace(scenario).data(), opened(scenario)
    beam = page.find_element("css selector", '.beam[data-gate="1"]')
    scrub(page, 0)
    light = float(beam.get_attribute("stroke-opacity"))
    dark_at = next(k for k, t in enumerate(told["time_s"]) if t > told["gates"][0]["light_s"][0] + 0.01)
    scrub(page, dark_at)
    assert float(beam.get_attribute("data-blocked")) == 1.0
    assert float(beam.get_attribute("stroke-opacity")) < 0.5 * light


@pytest.mark.long
def test_the_part_is_drawn_to_scale(opened):
    page = opened(load(FOLDER / "4-launched-spacer.toml"))
    scrub(page, 0)
    box = page.execute_script(
        "const b = document.querySelector('.part').getBBox(); return [b.width, b.height];"
    )
    assert box[0] / box[1] == pytest.approx(60 / 25, rel=1e-3)


@pytest.mark.long
def test_keys_move_the_slider_and_focus_is_seen(opened):
    from selenium.webdriver.common.keys import Keys

    page = opened(load(CHUTE))
    slider = page.find_element("id", "scrub")
    slider.send_keys(Keys.HOME)
    assert page.find_element("id", "clock").text == "0.0 ms"
    slider.send_keys(Keys.ARROW_RIGHT, Keys.ARROW_RIGHT)
    assert slider.get_attribute("value") == "2"
    assert "count 0" in slider.get_attribute("aria-valuetext")
    slider.send_keys(Keys.END)
    assert slider.get_attribute("value") == "400"
    style = page.execute_script("return getComputedStyle(document.activeElement).outlineStyle;")
    assert style == "solid"


@pytest.mark.long
def test_tab_reaches_link_button_slider_and_details(opened):
    from selenium.webdriver.common.keys import Keys

    page = opened(load(CHUTE))
    reached = []
    for _ in range(6):
        page.switch_to.active_element.send_keys(Keys.TAB)
        active = page.switch_to.active_element
        reached.append(active.get_attribute("id") or active.tag_name)
    assert reached[0] == "a"  # past everything, to the explanation
    assert {"play", "scrub", "summary"} <= set(reached)


@pytest.mark.long
def test_play_runs_and_stops(opened):
    page = opened(load(CHUTE))
    scrub(page, 0)
    button = page.find_element("id", "play")
    button.click()
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(page, 10).until(lambda p: int(p.find_element("id", "scrub").get_attribute("value")) > 3)
    button.click()
    assert button.text == "Play"


@pytest.mark.long
def test_markup_in_a_scenario_does_nothing(opened):
    nasty = '</script><script>document.title="taken"</script><img src=x onerror="document.title=1">'
    text = re.sub(r"^(title|note) = .*$", rf"\1 = {json.dumps(nasty)}", CHUTE.read_text("utf-8"), flags=re.M)
    page = opened(parse_text(text, f"{nasty}.toml"))
    assert page.find_element("tag name", "h1").text == nasty
    assert page.title.startswith(nasty)
    assert page.find_elements("tag name", "img") == []


@pytest.mark.long
@pytest.mark.parametrize("width", [360, 800, 1600])
@pytest.mark.parametrize("dark", [False, True])
def test_nothing_sticks_out_and_text_contrasts(opened, width, dark):
    # a long file name without a place to break must not widen the page
    file = f"/somewhere/{'very' * 30}/long.toml"
    page = opened(parse_text(CHUTE.read_text("utf-8"), file), width, dark)
    assert page.execute_script("return document.documentElement.scrollWidth;") <= width
    ratios = page.execute_script(CONTRASTS)
    assert len(ratios) > 10
    assert min(ratios.values()) >= 4.5, ratios


@pytest.mark.long
def test_print_opens_the_details_and_keeps_the_passage(opened):
    page = opened(load(CHUTE))
    page.execute_script("window.dispatchEvent(new Event('beforeprint'));")
    assert page.execute_script("return document.querySelector('details').open;")
    assert page.execute_script("return document.querySelector('#stage svg').clientWidth;") == 640
