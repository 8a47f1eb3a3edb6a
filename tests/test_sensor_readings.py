"""What the light gate does to a reading at constant speed, through the whole pipeline.

The belt is invented. Counts are left unrounded, so that only the sensor is at work.
"""

import pytest

from gatesim.chain import pipeline
from gatesim.ground.draw import Nominal
from gatesim.scenario import parse_text

SPEED, LENGTH = 0.5, 0.2
RIG = """
[part]
length = "200 mm"
[belt]
speed = "0.5 m/s"
friction = 0.5
[gate]
first = "400 mm"
spacing = "80 mm"
[counter]
frequency = "1 MHz"
[formula]
use = ["spacing-dwell"]
[sensor]
"""
PENETRATION_AT_075 = 0.701986377  # of the diameter: circular segment, solved to 9 digits


def reading(sensor):
    passed = pipeline.run(parse_text(RIG + sensor, "rig.toml"), Nominal(1), quantised=False)
    return float(passed.readings["spacing-dwell"][0])


def circular(diameter, dark, light, more=""):
    return reading(
        f'beam = {{ shape = "circular", diameter = "{diameter} mm" }}\n'
        f'dark_fraction = "{dark} %"\nlight_fraction = "{light} %"\n{more}'
    )


@pytest.mark.parametrize("diameter", [0.1, 1, 4, 12])
def test_a_wider_beam_does_not_move_the_reading_of_a_square_part_at_a_threshold_of_one_half(diameter):
    assert circular(diameter, 50, 50) == pytest.approx(LENGTH, abs=1e-8)


@pytest.mark.parametrize("delay", ["10 us", "1 ms", "20 ms"])
def test_equal_delays_do_not_move_the_reading_at_constant_speed(delay):
    assert reading(f'dark_delay = "{delay}"\nlight_delay = "{delay}"') == pytest.approx(LENGTH, abs=1e-9)


def test_unequal_delays_move_the_reading_by_speed_times_their_difference():
    later = reading('dark_delay = "0.2 ms"\nlight_delay = "0.7 ms"')
    assert later - LENGTH == pytest.approx(SPEED * 0.5e-3, abs=1e-9)


@pytest.mark.parametrize(
    ("dark", "light", "shift"),
    [
        (75, 75, -2.0),  # the front is seen late, the rear early
        (25, 25, 2.0),
        (75, 50, -1.0),
        (75, 25, 0.0),  # hysteresis about one half moves both edges alike
    ],
)
def test_thresholds_move_the_reading_by_the_penetration_of_the_knife_edge(dark, light, shift):
    expected = shift * (PENETRATION_AT_075 - 0.5) * 4e-3
    assert circular(4, dark, light) - LENGTH == pytest.approx(expected, abs=1e-8)


def test_a_receiver_delays_both_edges_of_a_square_part_alike_at_one_half():
    assert circular(4, 50, 50, 'time_constant = "0.5 ms"') == pytest.approx(LENGTH, abs=1e-7)


def test_a_receiver_that_switches_above_one_half_shortens_the_part():
    # dark is crossed late on the way up, light early on the way down
    assert circular(4, 75, 75, 'time_constant = "2 ms"') < circular(4, 75, 75) - 1e-4
