"""The report shows repeatability, part to part and rig to rig as one bar."""

import re

import pytest

from gatesim.scenario import load
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.rig import RigModel
from gatesim.view.report import report_html

NAMES = ("repeatability", "part_to_part", "rig_to_rig")


@pytest.mark.long
def test_the_bar_has_the_three_shares_of_the_variance():
    scenario = load("scenarios/2-chute-slat.toml")
    result = study(RigModel(scenario), Plan(trials=4_000), workers=1)
    page = report_html(scenario, "known-acceleration", result)
    bar = re.search(r'<div class="levels".*?</div>', page, re.DOTALL)
    assert bar is not None
    widths = [float(width) for width in re.findall(r"width: ([\d.]+)%", bar[0])]
    found = result.formulas["known-acceleration"]
    variances = [getattr(found, name).value ** 2 for name in NAMES]
    assert widths == pytest.approx([100.0 * v / sum(variances) for v in variances], abs=2e-3)
    assert "5 passages of each of\n2 reference parts" in page
