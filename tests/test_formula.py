"""Length formulas against the motion they claim to invert, in closed form."""

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from gatesim.formula import FORMULAS, Constants, Counts

speeds = st.floats(0.05, 20.0)
accelerations = st.floats(-20.0, 20.0)
lengths = st.floats(0.005, 2.0)
spacings = st.floats(0.005, 1.0)


def passing_time(distance, speed, acceleration):
    """Positive root of x = v t + a t^2/2, in the form that does not cancel."""
    root = speed**2 + 2.0 * acceleration * distance
    assume(root > 1e-4 * speed**2)
    return 2.0 * distance / (speed + math.sqrt(root))


def passage(length, spacing, speed, acceleration, rearm=None):
    third = 3.0 * spacing if rearm is None else rearm
    times = [passing_time(x, speed, acceleration) for x in (length, spacing, length + spacing, third)]
    counts = Counts(*(np.array([t]) for t in times))
    held = Constants(spacing, third, 1.0, math.nan, acceleration, math.nan)
    return counts, held


def read(name, counts, constants):
    return float(FORMULAS[name].length(counts, constants)[0])


@given(lengths, spacings, speeds, accelerations)
def test_reading_is_short_by_half_a_T_T_minus_ts(length, spacing, speed, acceleration):
    # from x = v t + a t^2/2 (any mechanics text): s T/t_s - L = (-a/2) T (T - t_s)
    counts, constants = passage(length, spacing, speed, acceleration)
    dwell, capture = counts.dwell[0], counts.capture[0]
    expected = -0.5 * acceleration * dwell * (dwell - capture)
    error = read("spacing-dwell", counts, constants) - length
    assert error == pytest.approx(expected, abs=1e-10 * (length + spacing + abs(acceleration) * dwell**2))


@given(spacings, speeds, accelerations)
def test_reading_is_exact_when_the_part_is_as_long_as_the_spacing(spacing, speed, acceleration):
    counts, constants = passage(spacing, spacing, speed, acceleration)
    assert read("spacing-dwell", counts, constants) == pytest.approx(spacing, rel=1e-12)


@pytest.mark.parametrize("name", ["known-acceleration", "four-edge", "three-gates"])
@given(length=lengths, spacing=spacings, speed=speeds, acceleration=accelerations)
def test_corrected_formulas_are_exact_under_any_constant_acceleration(
    name, length, spacing, speed, acceleration
):
    counts, constants = passage(length, spacing, speed, acceleration)
    # differences of nearly equal times cancel: the bound grows with the ratio of the terms
    size = length + abs(acceleration) * counts.dwell[0] ** 2 + (length / spacing) ** 2 * spacing
    assert read(name, counts, constants) == pytest.approx(length, abs=1e-8 * size)


@given(lengths, spacings, speeds, accelerations)
def test_rear_edge_reads_long_by_a_quarter_a_T_ts_plus_tr(length, spacing, speed, acceleration):
    counts, constants = passage(length, spacing, speed, acceleration)
    dwell, front = counts.dwell[0], counts.capture[0]
    rear = counts.rear_capture[0] - dwell
    expected = 0.25 * acceleration * dwell * (front + rear)
    size = length + abs(acceleration) * (dwell + front + rear) ** 2
    assert read("rear-edge", counts, constants) - length == pytest.approx(expected, abs=1e-9 * size)


@given(lengths, spacings, st.floats(0.001, 2.0), st.floats(0.01, 20.0))
def test_from_rest_at_a_fixed_distance_the_acceleration_cancels(length, spacing, release, acceleration):
    # from rest t = sqrt(2 x/a): the reading is a ratio of differences of square roots
    at = [math.sqrt(2.0 * (release + x) / acceleration) for x in (0.0, length, spacing)]
    counts = Counts(*(np.array([t]) for t in (at[1] - at[0], at[2] - at[0], math.nan, math.nan)))
    constants = Constants(spacing, math.nan, 1.0, math.nan, math.nan, release)
    root = math.sqrt(release)
    expected = spacing * (math.sqrt(release + length) - root) / (math.sqrt(release + spacing) - root)
    assert read("spacing-dwell", counts, constants) == pytest.approx(expected, rel=1e-8)
    assert read("fixed-release", counts, constants) == pytest.approx(length, rel=1e-7)


@given(lengths, spacings, speeds, accelerations, st.floats(1e-3, 1e3))
def test_a_ratio_of_counts_does_not_depend_on_the_unit_of_time(length, spacing, speed, acceleration, factor):
    counts, constants = passage(length, spacing, speed, acceleration)
    fields = (counts.dwell, counts.capture, counts.rear_capture, counts.third_capture)
    scaled = Counts(*(factor * field for field in fields))
    for name in ("spacing-dwell", "rear-edge", "four-edge", "three-gates"):
        size = length + abs(acceleration) * counts.dwell[0] ** 2 + (length / spacing) ** 2 * spacing
        assert read(name, scaled, constants) == pytest.approx(read(name, counts, constants), abs=1e-9 * size)


def test_without_a_count_there_is_no_reading():
    zero = np.array([0.0])
    counts = Counts(zero, zero, zero, zero)
    constants = Constants(0.05, 0.2, 1e-5, math.nan, 1.0, 0.1)
    for name in ("spacing-dwell", "known-acceleration", "rear-edge", "four-edge", "three-gates"):
        assert math.isnan(read(name, counts, constants))
