"""The bench in a browser: grips, fields, refusals, comparison, undo, saving, keys alone; and its numbers."""

import json
import random
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from gatesim.scenario import load
from tests.benches import running
from tests.benchpage import PATIENCE, Page, opened_page
from tests.conftest import CHROMIUM, DRIVER
from tests.test_report_browser import CONTRASTS, FOLDER

selenium = pytest.importorskip("selenium", reason="selenium is not installed")
pytestmark = pytest.mark.skipif(
    not (CHROMIUM and DRIVER), reason="needs the system's Chromium and its chromedriver"
)
widths = pytest.mark.parametrize("width", [1400, pytest.param(360, marks=pytest.mark.long)])


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    file = tmp_path_factory.mktemp("bench") / "rig.toml"
    shutil.copy(FOLDER / "2-chute-slat.toml", file)
    with running(file) as process:
        yield process, file


@pytest.fixture
def opened(browser, bench):
    process, file = bench

    def open_page(width=1400, dark=False):
        return opened_page(browser, process, file, width=width, dark=dark)

    yield open_page
    assert browser.get_log("browser") == []


def spacing_mm(page):
    return 1e3 * page.nominal("gate.spacing")


@pytest.mark.long
@widths
def test_dragging_a_gate_moves_its_quantity_and_the_reading(opened, width):
    from selenium.webdriver.common.action_chains import ActionChains

    page = opened(width)
    before = (spacing_mm(page), page.find("#reading").text)
    grip = page.find('[data-handle="gate 2"]')
    page.run("arguments[0].scrollIntoView({block: 'center'})", grip)
    ActionChains(page.browser).click_and_hold(grip).move_by_offset(20, 12).release().perform()
    page.wait("document.getElementById('reading').textContent !== arguments[0]", before[1])
    page.wait("gatesim.bench.settled()")
    assert spacing_mm(page) > before[0] + 5
    page.find("#undo").click()
    page.wait("document.getElementById('reading').textContent === arguments[0]", before[1])
    assert spacing_mm(page) == before[0]  # the whole drag is one step


@pytest.mark.long
@widths
def test_a_value_is_typed_in_any_unit(opened, width):
    page = opened(width)
    page.type("gate.spacing", "2 in")
    page.wait("Math.abs(gatesim.bench.field('gate.spacing').value - 0.0508) < 1e-12")
    assert (
        page.run("return gatesim.bench.good.table.gate.spacing.distribution") == "normal"
    )  # its spread stays


@pytest.mark.long
@widths
def test_a_refused_value_is_said_at_its_field_and_the_last_good_state_stays(opened, width):
    page = opened(width)
    before = page.find("#reading").text
    page.type("gate.rearm", "5 mm")
    note = page.find("#refused-gate-rearm")
    page.wait("!arguments[0].hidden", note)
    assert note.text.endswith(
        "gate.rearm: given 5 mm, expected a distance beyond the second gate, above 50 mm"
    )
    assert page.find("#type-gate-rearm").get_attribute("aria-invalid") == "true"
    assert page.find("#reading").text == before
    assert page.run("return gatesim.bench.state.done.length") == 0
    page.type("gate.rearm", "400 mm")
    page.settled(1)
    assert not note.is_displayed()


@pytest.mark.long
def test_what_was_still_to_come_when_a_value_is_refused_comes_all_the_same(opened):
    page = opened()
    page.type("gate.spacing", "70 mm")
    page.settled(1)
    page.type("gate.rearm", "5 mm")
    page.wait("!document.getElementById('refused-gate-rearm').hidden")
    page.wait("document.querySelector('[data-stale]') === null")
    assert page.find("#refused-gate-rearm").is_displayed()
    assert page.run("return gatesim.bench.shown.distribution.study.trials") > 256


@pytest.mark.long
@widths
def test_a_rig_kept_as_a_stands_beside_the_present_one_with_the_difference(opened, width):
    page = opened(width)
    before = float(page.find("#reading").text)
    page.find("#pin").click()
    page.type("gate.spacing", "100 mm")
    page.settled(1)
    now = float(page.find("#reading").text)
    kept = page.run("return [...document.querySelectorAll('#large .kept')].map((n) => n.textContent)")
    assert kept[0] == f"A {before:.3f}"
    assert float(kept[1].removeprefix("B − A ").replace("−", "-")) == pytest.approx(now - before, abs=2e-3)
    page.find("#pin").click()
    assert page.browser.find_elements("css selector", "#large .kept") == []


@pytest.mark.long
def test_the_copied_command_opens_the_same_rig_again(opened, browser):
    page = opened()
    page.type("gate.spacing", "70 mm")
    page.settled(1)
    page.type("path.friction", "0.3")
    page.settled(2)
    page.find("#copy").click()
    page.wait("/^(Copied|To copy): gatesim bench /.test(document.getElementById('status').textContent)")
    told = page.find("#status").text.partition(": ")[2]
    table = page.run("return gatesim.bench.good.table")
    browser.get("about:blank")
    words = shlex.split(told)
    assert words[:2] == ["gatesim", "bench"]
    with running(*words[2:]) as bench:
        page = opened_page(browser, bench)
        page.settled(1)
        assert page.run("return gatesim.bench.good.table") == table
        browser.get("about:blank")


@pytest.mark.long
@widths
def test_undo_and_redo_go_all_the_way(opened, width):
    page = opened(width)
    seen = [page.find("#reading").text]
    for text in ("70 mm", "90 mm", "110 mm"):
        page.type("gate.spacing", text)
        page.wait("document.getElementById('reading').textContent !== arguments[0]", seen[-1])
        seen.append(page.find("#reading").text)
    table = page.run("return JSON.stringify(gatesim.bench.good.table)")
    for name, wanted in (("undo", seen[-2::-1]), ("redo", seen[1:])):
        for reading in wanted:
            page.find(f"#{name}").click()
            page.wait("document.getElementById('reading').textContent === arguments[0]", reading)
        assert not page.find(f"#{name}").is_enabled()
    assert page.run("return JSON.stringify(gatesim.bench.good.table)") == table


@pytest.mark.long
@widths
def test_saving_under_a_new_name_leaves_the_file_and_its_comments(opened, width, bench):
    page = opened(width)
    old = page.file.read_text(encoding="utf-8")
    page.type("part.mass", f"{200 + width / 100:.0f} g")
    page.settled(1)
    page.find("#new-name").send_keys(f"new-{width}")
    page.find("#save-as button").click()
    page.wait("document.getElementById('status').textContent.startsWith('Saved as')")
    new = page.file.with_name(f"new-{width}.toml").read_text(encoding="utf-8")
    assert page.file.read_text(encoding="utf-8") == old or width != 1400
    changed = [line for line in new.splitlines() if line not in old.splitlines()]
    assert len(changed) == 1
    assert changed[0].startswith("mass = ")
    assert new.startswith(old.splitlines()[0])


@pytest.mark.long
@widths
def test_everything_is_reached_and_moved_by_keys_alone(opened, width):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    page = opened(width)
    # the focused node may be drawn anew at any moment: it is asked for and typed at in one go
    handle = "return document.activeElement.dataset.handle"
    focused = f"{handle} || document.activeElement.id || document.activeElement.tagName.toLowerCase()"
    before, reached = spacing_mm(page), []
    for _ in range(30):
        ActionChains(page.browser).send_keys(Keys.TAB).perform()
        reached.append(page.run(focused))
        if reached[-1] == "gate 2":
            break
    assert reached[0] == "a"
    assert {"pin", "gate 1", "gate 2"} <= set(reached)
    ActionChains(page.browser).send_keys(Keys.ARROW_RIGHT).perform()
    page.settled(1)
    assert spacing_mm(page) > before
    assert page.run(handle) == "gate 2"  # focus stays
    ActionChains(page.browser).key_down(Keys.CONTROL).send_keys("z").key_up(Keys.CONTROL).perform()
    page.settled(0)
    assert spacing_mm(page) == before


@pytest.mark.long
def test_every_control_has_a_name_and_nothing_is_asked_of_another_host(opened):
    page = opened()
    nameless = page.run(
        "return [...document.querySelectorAll('input, select, button, [role=slider]')].filter((n) =>"
        " n.type !== 'hidden' && !n.getAttribute('aria-label') && !(n.labels && n.labels.length)"
        " && !n.textContent.trim()).map((n) => n.outerHTML)"
    )
    assert nameless == []
    hosts = page.run("return performance.getEntriesByType('resource').map((e) => new URL(e.name).host)")
    assert set(hosts) <= {page.bench.host, ""}


@pytest.mark.long
@pytest.mark.parametrize("width", [360, 800, 1600])
@pytest.mark.parametrize("dark", [False, True])
def test_nothing_sticks_out_and_text_contrasts(opened, width, dark):
    page = opened(width, dark)
    page.find("#pin").click()
    page.answered("distribution")
    wide = page.run(
        "return [...document.querySelectorAll('main *')].filter((n) => !n.closest('.wide, .hidden') &&"
        " n.getBoundingClientRect().right > innerWidth).map((n) => n.outerHTML.slice(0, 120)).slice(0, 5)"
    )
    assert page.run("return document.documentElement.scrollWidth") <= width, wide
    ratios = page.run(CONTRASTS)
    assert min(r for key, r in ratios.items() if "BUTTON" not in key) >= 4.5, ratios


@pytest.mark.long
def test_the_full_report_opens_beside_it(opened):
    page = opened()
    here = page.browser.current_window_handle
    page.find("#report button").click()
    from selenium.webdriver.support.ui import WebDriverWait

    WebDriverWait(page.browser, PATIENCE).until(lambda b: len(b.window_handles) == 2)
    page.browser.switch_to.window(next(h for h in page.browser.window_handles if h != here))
    try:
        page.wait("document.querySelector('#stage svg') !== null")
        assert page.browser.title.startswith("Slat sliding down a chute: Reads")
    finally:
        page.browser.close()
        page.browser.switch_to.window(here)


# one edit after the other, each as soon as the last one is answered
EDITS = """
    const [thrown, done] = arguments;
    const bench = gatesim.bench;
    const edit = (dice) => {
      const quantities = Object.values(bench.shown.reading.groups.flatMap((g) => g.fields))
        .filter((f) => f.type === 'quantity' && f.value !== null && f.value !== 0)
        .filter((f) => !/^(formula|requirement)/.test(f.path));
      const field = quantities[Math.floor(dice[0] * quantities.length)];
      const value = (field.value / field.factor) * (0.93 + 0.14 * dice[1]);
      const number = Number(value.toPrecision(6));
      bench.edit(field.path, field.unit ? number + ' ' + field.unit : number);
    };
    const all = async () => {
      for (const dice of thrown) {
        edit(dice);
        while (!bench.settled()) await new Promise((wake) => setTimeout(wake, 5));
      }
    };
    all().then(() => done(''), (failure) => done(String(failure)));
"""
AT_A_TIME = 20


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "edits"), [("2-chute-slat", 200), ("3-braked-rung", 40), ("6-belt-roller", 40)]
)
def test_after_many_random_edits_the_numbers_are_those_of_the_commands(browser, tmp_path, name, edits):
    file, dice = tmp_path / "rig.toml", random.Random(20261125)
    shutil.copy(FOLDER / f"{name}.toml", file)
    with running(file) as bench:
        page = opened_page(browser, bench, file)
        browser.set_script_timeout(PATIENCE)
        for _ in range(edits // AT_A_TIME):
            thrown = [(dice.random(), dice.random()) for _ in range(AT_A_TIME)]
            assert browser.execute_async_script(EDITS, thrown) == ""
        page.answered("along", "distribution")
        page.find("#new-name").send_keys("edited")
        page.find("#save-as button").click()
        page.wait("document.getElementById('status').textContent.startsWith('Saved as')")
        shown = page.run("return gatesim.bench.shown")
        browser.get("about:blank")
    saved = file.with_name("edited.toml")
    assert load(saved).raw != load(file).raw
    trials = str(shown["distribution"]["study"]["trials"])
    for command, told in (
        (["predict"], [shown["reading"]["prediction"]]),
        (["study", "--sobol", "--trials", trials], shown["distribution"]["study"]),
    ):
        printed = subprocess.run(
            [sys.executable, "-m", "gatesim", command[0], saved, "--json", *command[1:]],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        assert _but_file(told) == _but_file(json.loads(printed.stdout))


def _but_file(told):
    """Without the name of the file, which was another before it was saved."""
    if isinstance(told, list):
        return [_but_file(each) for each in told]
    return {key: value for key, value in told.items() if key != "file"} if isinstance(told, dict) else told


@pytest.mark.long
def test_without_a_file_there_are_rigs_to_begin_with(browser, tmp_path):
    with running(cwd=tmp_path) as process:
        browser.get(process.address)
        page = Page(browser, process, Path())
        page.wait("document.querySelectorAll('[data-starter]').length === 6")
        page.find('[data-starter="drop"]').click()
        page.wait("gatesim.bench.latency.reading > 0")
        page.wait("document.querySelector('#verdict').textContent.trim().startsWith('Reads ')")
        assert browser.get_log("browser") == []
