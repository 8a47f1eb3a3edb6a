"""The report as a file: self-contained, escaped, complete; and the figures behind it."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from gatesim.api.trace import trace
from gatesim.chain import pipeline
from gatesim.chain.cautions import cautions
from gatesim.commands.report import command
from gatesim.explanation import breakdown
from gatesim.explanation.area import speed_curve
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.scenario import load, parse_text
from gatesim.scenario.reader import changed
from gatesim.studies.rig import parse_axis
from gatesim.view.errorchart import error_chart, error_curve
from gatesim.view.motionchart import speed_chart
from gatesim.view.report import report_html
from gatesim.view.waterfall import waterfall

FOLDER = Path(__file__).parent.parent / "scenarios"
SCENARIOS = sorted(FOLDER.glob("[1-6]-*.toml"))
CHUTE = FOLDER / "2-chute-slat.toml"
NASTY = '</script><script>document.title="taken"</script><img src=x onerror=alert(1)> & "quoted"'


class Tags(HTMLParser):
    """Collects tags, attributes and the text outside scripts and styles."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.text, self.ids = [], [], [], []
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, *pair) for pair in attrs]
        self.ids += [value for key, value in attrs if key == "id"]

    def handle_data(self, data):
        if self.tags and self.tags[-1] not in ("script", "style"):
            self.text.append(data)


def data_of(page):
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)[1])


@pytest.fixture(scope="module")
def chute():
    return report_html(load(CHUTE))


@pytest.mark.long
def test_the_page_asks_nothing_of_the_network(chute):
    assert not re.search(r"@import|url\((?!#)|fetch\(|XMLHttpRequest|import\(", chute)
    for _, key, value in Tags(chute).attributes:
        if key in ("src", "href", "action", "srcset", "poster"):
            assert value.startswith(("#", "data:,")), value


@pytest.mark.long
def test_ids_are_unique_and_links_and_labels_lead_somewhere(chute):
    page = Tags(chute)
    assert len(page.ids) == len(set(page.ids))
    for tag, key, value in page.attributes:
        if (tag, key) == ("a", "href"):
            assert value[1:] in page.ids
        if key in ("for", "aria-labelledby"):
            assert value in page.ids


@pytest.mark.long
def test_markup_in_a_scenario_is_text():
    text = CHUTE.read_text(encoding="utf-8")
    text = re.sub(r"^title = .*$", f"title = {json.dumps(NASTY)}", text, flags=re.M)
    text = re.sub(r"^note = .*$", f"note = {json.dumps(NASTY)}", text, flags=re.M)
    page = report_html(parse_text(text, "<b>bold</b>.toml"))
    plain, nasty = Tags(report_html(load(CHUTE))), Tags(page)
    assert nasty.tags == plain.tags
    assert NASTY in "".join(nasty.text)
    assert "<b>bold</b>.toml" in "".join(nasty.text)


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[::2], ids=lambda f: f.stem)
def test_counts_and_positions_are_those_of_the_trace(file):
    scenario = load(file)
    told, data = trace(scenario).data(), data_of(report_html(scenario))
    assert data["time"] == told["time_s"]
    assert data["count"] == told["count"]
    assert [m["count"] for m in data["moments"]] == [m["count"] for m in told["moments"]]
    for drawn, exact in zip(data["parts"], told["parts"], strict=True):
        for a, b in zip(drawn["position"], exact["position_m"], strict=True):
            assert a == pytest.approx(b, rel=1e-6) if b is not None else a is None


def _all_cautions():
    return {caution for file in SCENARIOS for caution in cautions(load(file))}


@pytest.mark.long
@pytest.mark.parametrize("file", SCENARIOS[1::2], ids=lambda f: f.stem)
def test_cautions_are_those_of_the_hazards_on_the_rig(file):
    scenario = load(file)
    text = "".join(Tags(report_html(scenario)).text)
    for caution in _all_cautions():
        assert (caution.hazard in text) == (caution in cautions(scenario))
    # a light gate for measuring is no protective device: electro-sensitive protective equipment is IEC 61496
    for standard in ("IEC 61496", "ISO 12100", "ISO 14120", "ISO 13857", "IEC 60825-1"):
        assert standard in text


def test_each_hazard_has_its_caution():
    braked, launched, belted = (load(SCENARIOS[k]) for k in (2, 3, 4))
    assert {"Strong magnets"} == {c.hazard for c in cautions(braked)} - {
        c.hazard for c in cautions(load(CHUTE))
    }
    assert "Stored energy" in {c.hazard for c in cautions(launched)}
    assert "EN 619" in " ".join(str(c) for c in cautions(belted))


def test_the_readme_names_every_standard_of_the_cautions():
    readme = (FOLDER.parent / "README.md").read_text(encoding="utf-8").split("## Cautions")[1]
    standards = set(re.findall(r"(?:IEC|ISO|EN) \d+(?:-\d)?", " ".join(str(c) for c in _all_cautions())))
    assert len(standards) == 6
    for standard in standards:
        assert standard in readme


def test_a_part_that_stops_gets_a_page_that_says_so():
    scenario = changed(load(CHUTE), "path.slope", "12 deg")
    page = report_html(scenario)
    assert "Stopped: no reading" in page
    assert "does not start" in page
    assert "NaN" not in page


@pytest.mark.long
def test_the_command_adds_a_study(tmp_path):
    target = tmp_path / "report.html"
    done = CliRunner().invoke(command, [str(CHUTE), "-o", str(target), "--trials", "2000", "--workers", "1"])
    assert done.exit_code == 0, done.output
    page = target.read_text(encoding="utf-8")
    assert "2,048 simulated parts" in page  # whole replicates of Sobol points
    assert "sensor.dark_fraction@2" in page
    density, edges = (np.array(data_of(page)["histogram"][key]) for key in ("density", "edges"))
    assert (density * np.diff(edges)).sum() == pytest.approx(1.0, abs=5e-3)  # the middle 99.9 % of the parts


def test_a_formula_the_rig_has_not_is_named():
    with pytest.raises(InputError, match="expected one of"):
        report_html(load(CHUTE), "encoder-pitch")


def test_a_file_that_cannot_be_written_is_one_sentence(tmp_path):
    done = CliRunner().invoke(command, [str(CHUTE), "-o", str(tmp_path / "no" / "report.html")])
    assert isinstance(done.exception, InputError)


@pytest.mark.parametrize("file", SCENARIOS, ids=lambda f: f.stem)
def test_area_under_the_speed_is_the_length_and_the_rectangle_what_is_read(file):
    # distance is the integral of speed over time; the trapezoidal rule on 241 points is good to 1e-4 here
    scenario = load(file)
    curve = speed_curve(pipeline.run(scenario, Nominal(1)))
    time, speed = curve.within(curve.enters, curve.leaves)
    assert np.trapezoid(speed, time) == pytest.approx(curve.length, rel=1e-4)
    time, speed = curve.within(curve.enters, curve.second)
    assert np.trapezoid(speed, time) == pytest.approx(curve.spacing, rel=1e-4)
    assert curve.rectangle == pytest.approx(
        curve.spacing * (curve.leaves - curve.enters) / (curve.second - curve.enters)
    )


@pytest.mark.long
def test_figures_draw_on_the_axes_given_and_name_their_units():
    from matplotlib.figure import Figure

    scenario = load(SCENARIOS[2])
    curve = speed_curve(pipeline.run(scenario, Nominal(1)))
    axis = parse_axis("gate.spacing=40mm:300mm:3")
    draw = (
        (speed_chart, curve, ("ms", "m/s")),
        (waterfall, breakdown(scenario), ("mm", "")),
        (error_chart, error_curve(scenario, axis, ["spacing-dwell"]), ("mm", "mm")),
    )
    for figure, result, units in draw:
        axes = Figure().subplots()
        assert figure(result, axes=axes) is axes
        assert units[0] in axes.get_xlabel()
        assert units[1] in axes.get_ylabel()


def test_error_curve_crosses_zero_where_spacing_and_length_are_equal():
    # -(a/2) T (T - t_s) under constant acceleration
    plain = (
        '[part]\nlength = "200 mm"\n[path]\nslope = "30 deg"\n[gate]\nfirst = "300 mm"\nspacing = "80 mm"\n'
    )
    scenario = parse_text(plain + '[counter]\nfrequency = "1 MHz"\n')
    curve = error_curve(scenario, parse_axis("gate.spacing=100mm:300mm:3"), ["spacing-dwell"])
    short, right, long = curve.errors["spacing-dwell"]
    assert short < -1e-3
    assert abs(right) < 1e-9
    assert long > 1e-3
