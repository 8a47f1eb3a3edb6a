"""An encoder whose pulses come through the same input filter as the gates."""

import pytest

from gatesim import predict
from gatesim.ground.outcome import Outcome
from gatesim.scenario import parse_text

# invented belt: 0.5 m/s over a roller of 200 mm circumference with 1000 lines, so 2.5 kHz of pulses
RIG = """
[part]
length = "200 mm"
[belt]
speed = "0.5 m/s"
friction = 0.5
[gate]
first = "400 mm"
spacing = "80 mm"
[filter]
kind = "{kind}"
{settings}
[counter.encoder]
pulses_per_turn = 1000
edge_factor = 4
roller_diameter = "63.661977 mm"
filtered = {filtered}
"""


def predicted(kind, settings, filtered="true"):
    return predict(parse_text(RIG.format(kind=kind, settings=settings, filtered=filtered), "rig.toml"))


@pytest.mark.parametrize(
    ("kind", "settings"),
    [
        ("stable-for", 'time = "2 ms"'),
        ("stable-for", 'time = "0.21 ms"'),
        ("majority", 'period = "0.1 ms"\nsamples = 5\nneeded = 4'),
    ],
)
def test_pulses_faster_than_the_filter_are_lost_entirely_and_the_counter_reads_0(kind, settings):
    found = predicted(kind, settings)
    assert found.outcome == Outcome.PULSES_LOST.word
    assert found.counts["dwell"] == found.counts["capture"] == 0
    assert "the counter reads 0" in found.explanation
    assert kind in found.explanation


def test_pulses_slower_than_the_filter_are_all_counted():
    found = predicted("stable-for", 'time = "0.19 ms"')
    assert found.outcome == Outcome.MEASURED.word
    assert abs(found.counts["dwell"] - 4000) <= 1  # 200 mm at 20 counts a mm


def test_a_hold_off_lets_some_of_the_pulses_through():
    found = predicted("hold-off", 'time = "0.25 ms"')
    assert found.outcome == Outcome.PULSES_LOST.word
    assert 0 < found.counts["dwell"] < 4000


def test_pulses_on_an_input_of_their_own_do_not_meet_the_filter():
    assert abs(predicted("stable-for", 'time = "2 ms"', "false").counts["dwell"] - 4000) <= 1
