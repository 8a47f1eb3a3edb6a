"""What the bench's page looks like: the rig kept as A, nothing cut off, nothing that moves by itself."""

import re
import subprocess
import sys
import time
from contextlib import ExitStack

import pytest

from tests.benches import running
from tests.benchpage import Page, opened_page, resized
from tests.conftest import CHROMIUM, DRIVER
from tests.test_report_browser import FOLDER

selenium = pytest.importorskip("selenium", reason="selenium is not installed")
pytestmark = [
    pytest.mark.long,
    pytest.mark.skipif(not (CHROMIUM and DRIVER), reason="needs the system's Chromium and its chromedriver"),
]
KINDS = ["1-drop-dowel", "2-chute-slat", "3-braked-rung", "4-launched-spacer", "5-belt-board"]
KINDS += ["6-belt-roller", "7-pointed-pin", "8b-chatter-hold-off", "9b-slat-polled", "10-train-too-close"]
KINDS += ["11-slat-between-magnets", "12-magnet-in-tube"]
WIDTHS = (360, 800, 1600)

# texts of a picture that lie on one another or leave it, and whatever leaves the page
CROWDED = """
    const found = [];
    const name = (node) => node.tagName + '#' + node.id + '.' + node.getAttribute('class');
    for (const svg of document.querySelectorAll('main svg')) {
      const frame = svg.getBoundingClientRect();
      const texts = [...svg.querySelectorAll('text')].map((t) => [t.textContent, t.getBoundingClientRect()])
        .filter(([text, box]) => text && box.width);
      for (const grip of svg.querySelectorAll('.grip')) {
        texts.push(['grip ' + grip.dataset.handle, grip.getBoundingClientRect()]);
      }
      texts.forEach(([text, a], k) => {
        const inside = a.left > frame.left - 1 && a.right < frame.right + 1 && a.top > frame.top - 1;
        if (!inside || a.bottom > frame.bottom + 1) found.push('cut off: ' + text);
        for (const [other, b] of texts.slice(k + 1)) {
          const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
          const high = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
          if (wide > 1.5 && high > 3) found.push(text + ' on ' + other);
        }
      });
    }
    for (const node of document.querySelectorAll('body *')) {
      if (node.closest('.hidden, svg, .skip')) continue;
      const box = node.getBoundingClientRect();
      if (box.width && box.right > innerWidth + 0.5) found.push('sticks out: ' + name(node));
    }
    return found;
"""


@pytest.fixture
def opened(browser):
    """Opens a shipped rig, and asks at the end that the browser had nothing to complain of."""
    with ExitStack() as benches:

        def open_rig(name, unit=None, **how):
            more = [] if unit is None else ["--unit", unit]
            bench = benches.enter_context(running(FOLDER / f"{name}.toml", *more))
            return opened_page(browser, bench, **how)

        yield open_rig
        said = browser.get_log("browser")
        browser.get("about:blank")  # it would miss the bench
    assert said == []


def keep_and_change(page, factor=1.3):
    """Keep the rig as A and move its second gate."""
    page.answered("passage", "why", "distribution")
    page.find("#pin").click()
    spacing = 1e3 * page.nominal("gate.spacing")
    page.type("gate.spacing", f"{factor * spacing:.1f} mm")
    page.settled(1)
    page.answered("passage", "why", "distribution")


def test_the_rig_kept_as_a_is_drawn_dotted_and_lettered_beside_the_present_one(opened):
    page = opened("2-chute-slat")
    keep_and_change(page)
    letters = page.run("return [...document.querySelectorAll('#stage text')].map((t) => t.textContent)")
    assert {"A", "A1", "A2", "A3", "1", "2", "3"} <= set(letters)
    dotted = "#stage [data-kept-gate], #stage [data-kept-part], #signals [data-kept-signal]"
    strokes = page.run(
        "return [...document.querySelectorAll(arguments[0])].map((n) => n.getAttribute('stroke-dasharray'))",
        dotted,
    )
    assert strokes == ["2 3"] * 7  # three gates, the part, three signals
    # gate 2 of A stands as much before that of B, in the drawing's own scale, as was typed
    share = page.run(
        "const end = (gate) => Number(document.querySelector(`#stage .beam[data-gate='${gate}']`)"
        ".getAttribute('x2'));"
        "const kept = parseFloat(document.querySelector('[data-kept-gate=\"2\"]').getAttribute('points'));"
        "return (kept - end(1)) / (end(2) - end(1));"
    )
    assert share * 1.3 == pytest.approx(1.0, abs=0.01)
    page.find("#pin").click()
    assert page.browser.find_elements("css selector", dotted) == []


@pytest.mark.parametrize("name", KINDS)
def test_nothing_overlaps_is_cut_off_or_sticks_out_at_any_width(opened, name):
    page = opened(name, width=1600)
    page.answered("why", "distribution", "changes")
    for kept in (False, True):
        if kept:
            keep_and_change(page)
        for width in WIDTHS:
            resized(page.browser, width)
            page.wait("Math.abs(document.querySelector('#stage svg').clientWidth - stage.clientWidth) < 2")
            assert page.run(CROWDED) == [], (kept, width)
            assert page.run("return document.documentElement.scrollWidth") <= width
    twice = "const t = document.querySelector('#stage text'); t.parentNode.append(t.cloneNode(true)); "
    assert page.run(twice + CROWDED) != []  # the question can be answered with yes


def test_lengths_are_shown_in_the_unit_that_is_asked_for_as_the_commands_show_them(opened, browser):
    page = opened("3-braked-rung", unit="in")
    page.answered("why", "distribution", "changes")
    told = subprocess.run(
        [sys.executable, "-m", "gatesim", "predict", FOLDER / "3-braked-rung.toml", "--unit", "in"],
        capture_output=True, text=True, check=True,
    ).stdout  # fmt: skip
    minus = page.run(
        "return [...document.querySelectorAll('#formulas tbody tr')].map((row) => row.innerText)"
    )
    rows = [re.findall(r"[+-]?\d+\.\d{5}\b", row.replace("−", "-")) for row in minus]
    assert len(rows) > 2
    for row in rows:
        assert len(row) == 2
        assert re.search(rf" {re.escape(row[0])} +{re.escape(row[1])} ", told)
    assert page.find("#explanation").text.replace("\n", " ") in " ".join(told.split())
    spoken = page.run("return document.querySelector('.left').innerText + band.innerText")
    assert " in short" in spoken or " in long" in spoken
    assert not re.search(r"\bmm\b", spoken)
    assert "--unit in" in page.run("return gatesim.bench.command()")


FOCUS = """
    const node = document.activeElement, style = getComputedStyle(node), box = node.getBoundingClientRect();
    const top = document.elementFromPoint(box.left + box.width / 2, box.top + Math.min(box.height / 2, 10));
    const inView = box.top >= 0 && box.bottom <= innerHeight + 1;
    const seen = inView && top && (node.contains(top) || top.contains(node));
    const name = node.tagName + ' ' + (node.id || node.dataset.handle || node.textContent.slice(0, 40));
    return [name, style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2, Boolean(seen)];
"""


@pytest.mark.parametrize(("width", "height"), [(1400, 900), (360, 740)])
def test_whoever_goes_by_tab_sees_where_they_are(opened, width, height):
    from selenium.webdriver import ActionChains
    from selenium.webdriver.common.keys import Keys

    page = opened("3-braked-rung", width=width)
    resized(page.browser, width, height)
    page.answered("why", "distribution", "changes")
    stops = []
    for _ in range(80):
        ActionChains(page.browser).send_keys(Keys.TAB).perform()
        stops.append(page.run(FOCUS))
    assert len({name for name, _, _ in stops}) > 30
    assert [name for name, ring, seen in stops if not (ring and seen)] == []
    assert page.find("#spoken").get_attribute("textContent") == page.find("#verdict").text


def test_with_reduced_motion_the_part_stands_until_it_is_asked_to_move(opened):
    page = opened("2-chute-slat", calm=True)
    where = "document.querySelector('#stage .part').getAttribute('points')"
    before = page.run(f"return [{where}, scrub.value]")
    time.sleep(1.0)
    assert page.run(f"return [{where}, scrub.value]") == before
    assert page.run("return document.getAnimations().length") == 0
    page.find("#play").click()
    page.wait(f"{where} !== arguments[0]", before[0])


def test_whether_a_rig_is_good_enough_is_said_once_and_the_same_everywhere(opened):
    for name, enough in (("2-chute-slat", False), ("8b-chatter-hold-off", True)):
        page = opened(name)
        page.answered("changes")
        said = page.find("#judged").text
        assert said.startswith("good enough" if enough else "not good enough")
        assert ("nothing need change" in page.find("#advice").text) == enough
        within, allowed = (float(figure) for figure in re.findall(r"([\d.]+) mm", said))
        assert (within <= allowed) == enough


def test_who_asks_which_knob_cures_it_is_shown_that_knob(opened):
    page = opened("2-chute-slat")
    page.answered("changes")
    assert page.find("#verdict").text.startswith("Reads 17.5")
    assert "acceleration" in page.find("#bars tbody tr").text
    page.find("#reveal").click()
    focused = page.run("return document.activeElement.closest('.knob').dataset.path")
    marked = page.run("return [...document.querySelectorAll('.knob.cure')].map((n) => n.dataset.path)")
    assert [focused] == marked == ["formula.use"]
    page.find("#cure button").click()
    page.settled(1)
    assert abs(float(page.find("#error").text.replace("−", "-"))) < 0.2


@pytest.mark.parametrize("kind", ["drop", "chute", "brake", "launch", "belt", "encoder"])
def test_every_rig_to_begin_with_is_sketched_opened_and_answered_in_full(browser, tmp_path, kind):
    with running(cwd=tmp_path) as bench:
        browser.get(bench.address)
        page = Page(browser, bench, None)
        page.wait("document.querySelectorAll('[data-starter] svg .beam').length >= 12")
        page.find(f'[data-starter="{kind}"]').click()
        page.answered("reading", "passage", "why", "distribution", "changes")
        missing = page.run("return Object.values(gatesim.bench.shown).map((a) => a.missing).filter((m) => m)")
        assert missing == []
        assert browser.get_log("browser") == []
        browser.get("about:blank")
