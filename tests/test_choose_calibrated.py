"""A line of the search calibrates the rig at hand, against closed forms."""

import math
import tomllib
from pathlib import Path

import pytest

from gatesim.studies.choice.choose import choose
from gatesim.studies.choice.model import choice_of

# An invented belt; its numbers serve as input only.
BELT = """
calibration = "{how}"
[wanted]
shortest = "180 mm"
longest = "220 mm"
lengths = 3
tolerance = "5 mm"
rms_error = "4 mm"
[base.part]
length = "200 mm"
[base.belt]
speed = "0.8 m/s"
friction = 0.6
[base.gate]
first = "700 mm"
spacing = {{ value = "80 mm", distribution = "normal", standard_uncertainty = "0.5 mm"{per} }}
[base.sensor]
dark_delay = "1 ms"
light_delay = "1 ms"
jitter = "40 us"
[base.counter]
frequency = "100 MHz"
[base.formula]
use = ["spacing-dwell"]
"""
V, S, U_S, JITTER = 0.8, 0.080, 0.5e-3, 40e-6


def least(how: str, per: str = "", trials: int = 20_000, seed: int = 1):
    choice = choice_of(tomllib.loads(BELT.format(how=how, per=per)), Path())
    return choose(choice, trials=trials, seed=seed, workers=1).finalists[0].evaluation.figures


def noise(length: float) -> float:
    """Scatter of s T/t_s by the jitter of three edges, to first order (derived)."""
    ratio = length / S
    return V * JITTER * math.sqrt(1.0 + ratio**2 + (1.0 - ratio) ** 2)


@pytest.mark.long
def test_a_line_takes_out_what_is_the_rigs_own_and_adds_the_scatter_of_its_references():
    # a wrong spacing is a wrong gain, which a line takes out; at the end of the line the mean of
    # five readings there is what it adds
    figures = least("line")
    assert figures.lengths[figures.worst] == pytest.approx(0.220)
    assert figures.uncertainty == pytest.approx(noise(0.220) * math.sqrt(1.2), rel=0.03)
    plain = least("none")
    assert plain.uncertainty == pytest.approx(math.hypot(noise(0.220), 0.220 / S * U_S), rel=0.03)


@pytest.mark.long
def test_a_line_does_not_take_out_what_is_new_with_every_passage():
    figures = least("line", ', per = "passage"')
    alone = math.hypot(noise(0.220), 0.220 / S * U_S)
    assert figures.uncertainty == pytest.approx(alone * math.sqrt(1.2), rel=0.03)


@pytest.mark.long
def test_the_monte_carlo_error_of_calibrated_rigs_is_that_of_repeated_searches():
    many = [least("zero", trials=600, seed=seed) for seed in range(60)]
    rms = [figures.rms[2] for figures in many]
    mean = sum(rms) / len(rms)
    scatter = math.sqrt(sum((v - mean) ** 2 for v in rms) / (len(rms) - 1))
    told = sum(figures.rms_error[2] for figures in many) / len(many)
    assert told == pytest.approx(scatter, rel=0.35)
