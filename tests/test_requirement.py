"""A requirement for a range of lengths, judged at the worst of them; what cannot be is refused."""

import json
import math

import pytest
from click.testing import CliRunner

from gatesim.commands.study import command as study_command
from gatesim.commands.sweep import command as sweep_command
from gatesim.explanation.remedy import remedies
from gatesim.ground.errors import InputError
from gatesim.scenario import parse_text

# An invented chute; its numbers serve as input only.
CHUTE = """
[part]
length = "120 mm"
[path]
slope = "30 deg"
[gate]
first = "200 mm"
spacing = "80 mm"
[sensor]
jitter = "1 us"
[counter]
frequency = "100 MHz"
[formula]
use = ["spacing-dwell"]
[requirement]
"""
RANGE = 'max_error = "6 mm"\nshortest = "60 mm"\nlongest = "140 mm"\n'


def error(length, release=0.2, spacing=0.080):
    """Error of s T/t_s for a part released from rest under any constant acceleration (derived)."""
    root = math.sqrt(release)
    read = spacing * (math.sqrt(release + length) - root) / (math.sqrt(release + spacing) - root)
    return read - length


def printed(command, tmp_path, text, *arguments):
    path = tmp_path / "rig.toml"
    path.write_text(text)
    result = CliRunner().invoke(command, [str(path), *arguments, "--json"], standalone_mode=False)
    if result.exception is not None:
        raise result.exception
    return json.loads(result.output)


def test_study_names_the_worst_of_the_lengths_as_the_closed_form_has_it(tmp_path):
    found = printed(study_command, tmp_path, CHUTE + RANGE, "--trials", "4000")["requirement"][
        "spacing-dwell"
    ]
    judged = [0.060, 0.080, 0.100, 0.120, 0.140]
    worst = max(judged, key=lambda length: abs(error(length)))
    assert found["worst_length"] == pytest.approx(worst) == pytest.approx(0.140)
    assert found["bias"] == pytest.approx(error(worst), abs=2e-6)
    assert found["allowed"] == pytest.approx(0.006)
    assert found["met"] is (abs(error(worst)) < 0.006)


def test_sweep_keeps_the_figures_of_the_worst_length(tmp_path):
    arguments = ("--vary", "gate.first=200mm:400mm:3", "--trials", "4000")
    table = printed(sweep_command, tmp_path, CHUTE + RANGE, *arguments)["error"]["spacing-dwell"]
    for release, bias, length in zip((0.2, 0.3, 0.4), table["bias"], table["worst_length"], strict=True):
        assert length == pytest.approx(0.140)
        assert bias == pytest.approx(error(0.140, release), abs=3e-6)


def test_explain_finds_the_rig_good_enough_only_if_it_is_at_every_length():
    for allowed, enough in (("6 mm", abs(error(0.140)) < 6e-3), ("1 mm", False)):
        scenario = parse_text(CHUTE + RANGE.replace("6 mm", allowed))
        now = remedies(scenario, "spacing-dwell", ()).now
        assert now.worst == pytest.approx(0.140)
        assert now.error == pytest.approx(error(0.140), abs=2e-6)
        assert now.enough is enough
    # at the nominal length alone the error is smaller
    alone = remedies(parse_text(CHUTE + 'max_error = "6 mm"\n'), "spacing-dwell", ()).now
    assert abs(alone.error) < abs(error(0.140))


@pytest.mark.parametrize(
    ("lines", "told"),
    [
        ('lower_limit = "110 mm"\nupper_limit = "119 mm"', "requirement.upper_limit: given 119 mm"),
        ('lower_limit = "121 mm"\nupper_limit = "130 mm"', "requirement.lower_limit: given 121 mm"),
        ('shortest = "125 mm"\nlongest = "130 mm"', "requirement.shortest: given 125 mm"),
        (
            'shortest = "130 mm"\nlongest = "110 mm"',
            "requirement.shortest: given 130 mm, expected a length below",
        ),
    ],
)
def test_limits_that_rule_out_the_part_are_refused(lines, told):
    with pytest.raises(InputError, match="expected") as refused:
        parse_text(CHUTE + lines)
    assert told in str(refused.value)


def test_limits_and_greatest_error_the_less_counts():
    text = CHUTE + 'lower_limit = "119 mm"\nupper_limit = "122 mm"\nmax_error = "{}"'
    for most, allowed in (("0.3 mm", 3e-4), ("5 mm", 1e-3)):
        asked = parse_text(text.format(most)).requirement
        assert asked.allowed(0.120) == pytest.approx(allowed)
