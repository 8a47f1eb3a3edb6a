"""The search finds the best rig where it is known in closed form."""

import math

import numpy as np
import pytest

from gatesim.studies.choice.choose import choose
from gatesim.studies.choice.evaluate import Round
from gatesim.studies.choice.refine import refine
from tests.choice_rigs import CHUTE, choice


def only(length, **more):
    return {"shortest": length, "longest": length, **more}


def fast(acceleration, frequency, spread):
    """A part that passes at about 2 m/s on a path that adds little; acceleration by g sin(slope)."""
    slope = math.degrees(math.asin(acceleration / 9.80665))
    speed = {"value": "2 m/s", "distribution": "normal", "standard_uncertainty": spread}
    return {
        "part": {"length": "100 mm"},
        "path": {"slope": f"{slope!r} deg", "release_speed": speed if spread else "2 m/s"},
        "gate": {"first": "1 mm", "spacing": "100 mm"},
        "counter": {"frequency": frequency},
        "formula": {"use": ["spacing-dwell"]},
    }


def test_the_best_spacing_under_constant_acceleration_is_the_length():
    """The error -(a/2) T (T - t_s) vanishes where T = t_s (Newton's second law; test_formula.py)."""
    given = choice(only("120 mm"), ranges=["gate.spacing=40 mm:340 mm:6"])
    result = choose(given, trials=200, workers=1)
    best = min(result.finalists, key=lambda entry: entry.uncertainty)
    assert best.candidate.values["gate.spacing"] == pytest.approx(120.0, abs=0.05)
    # a tick is 0.1 us at 2 m/s: nothing but counting is left
    assert best.uncertainty < 1e-6


@pytest.mark.long
def test_the_best_spacing_for_a_range_of_lengths_balances_the_longest_against_half_the_spacing():
    """Smallest largest error over lengths up to L_max, if lengths down to s/2 occur (derived).

    For a small change of speed T = L/v and t_s = s/v, so that the error is (a/(2 v^2)) L (s - L).
    It is largest at L = s/2, where it is (a/(8 v^2)) s^2, and most negative at L_max, where it
    is (a/(2 v^2)) L_max (s - L_max). Both are equal in size for s^2 + 4 L_max s - 4 L_max^2 = 0,
    so s = 2 (sqrt 2 - 1) L_max = 0.828 L_max.
    """
    wanted = {"shortest": "40 mm", "longest": "200 mm", "lengths": 41}
    base = fast(0.2, "100 MHz", None)
    given = choice(wanted, base, ranges=["gate.spacing=40 mm:240 mm:6"])
    result = choose(given, trials=82, workers=1)
    best = min(result.finalists, key=lambda entry: entry.uncertainty)
    assert best.candidate.values["gate.spacing"] == pytest.approx(400.0 * (math.sqrt(2.0) - 1.0), rel=0.01)


def mean_square_error(ratio, size, count, length):
    """Error of s T/t_s by acceleration and by counting, for spacing = ratio * length (derived).

    By acceleration, for a small change of speed: (a/(2 v^2)) L (s - L) = A L (ratio - 1) with
    A = a L/(2 v^2) = ``size``. By counting: both intervals start at one edge, with one clock phase.
    Averaged over the fractions of a count, each count has the variance 1/6 (J. Kalisz,
    Metrologia 41 (2004) 17, from memory), and both together, for given fractions f and g,
    the covariance min(f, g) - f g, on average 1/3 - 1/4 = 1/12. With d = v/f = ``count`` the
    reading L (1 + dT/T - dt/t_s) has the variance d^2 (1/6 + 1/(6 r^2) - 2/(12 r)), r = s/L:

        MSE(r) = (A L)^2 (r - 1)^2 + (d^2/6) (1 - 1/r + 1/r^2).
    """
    return (size * length) ** 2 * (ratio - 1.0) ** 2 + count**2 / 6.0 * (1.0 - 1.0 / ratio + 1.0 / ratio**2)


def best_ratio(size, count, length):
    """Root of dMSE/dr = 0: r^3 (r - 1) = k (2 - r), k = (d^2/6)/(2 (A L)^2), between 1 and 2.

    Without counting error (k = 0) the spacing is the length; without acceleration (k infinite)
    it is twice the length; for small k the ratio is 1 + k.
    """
    k = count**2 / 6.0 / (2.0 * (size * length) ** 2)
    roots = np.roots([1.0, -1.0, 0.0, k, -2.0 * k])
    (best,) = (float(r.real) for r in roots if abs(r.imag) < 1e-12 and r.real > 0.0)
    return best


@pytest.mark.long
def test_the_best_spacing_between_counting_and_acceleration_is_the_root_of_its_quartic():
    acceleration, frequency, speed, length = 0.2, 5e3, 2.0, 0.100
    size, count = acceleration * length / (2.0 * speed**2), speed / frequency
    best = best_ratio(size, count, length)
    assert 1.1 < best < 1.2  # well away from both limits
    base = fast(acceleration, "5 kHz", "0.1 m/s")
    given = choice(only("100 mm"), base, ranges=["gate.spacing=40 mm:240 mm:6"])
    result = choose(given, trials=40_000, workers=1)
    for entry in result.entries:
        figures = entry.evaluation.figures
        ratio = entry.candidate.values["gate.spacing"] / 100.0
        expected = math.sqrt(mean_square_error(ratio, size, count, length))
        # to first order in the change of speed, 0.5 %, on top of the Monte Carlo error
        assert figures.rms[0] == pytest.approx(expected, abs=4.0 * figures.rms_error[0] + 0.01 * expected)
    start = min(result.entries, key=lambda entry: entry.uncertainty).candidate
    found = refine(start, given, Round(150_000, 2)).values["gate.spacing"] / 100.0
    assert found == pytest.approx(best, abs=0.08)
    least = mean_square_error(best, size, count, length)
    assert mean_square_error(found, size, count, length) < 1.02 * least


def test_small_and_large_counting_errors_lead_to_the_limits_of_the_quartic():
    assert best_ratio(0.0025, 1e-7, 0.1) == pytest.approx(1.0, abs=1e-6)
    assert best_ratio(0.0025, 1.0, 0.1) == pytest.approx(2.0, abs=1e-3)
    k = 1e-4
    count = math.sqrt(12.0 * k) * 0.0025 * 0.1
    assert best_ratio(0.0025, count, 0.1) == pytest.approx(1.0 + k, abs=5.0 * k**2)


@pytest.mark.long
def test_two_ranges_are_searched_together():
    """Release point and spacing: the error vanishes on s = L for every release point (closed form)."""
    base = {**CHUTE, "gate": {"first": "200 mm", "spacing": "80 mm"}}
    ranges = ["gate.spacing=60 mm:240 mm:3", "gate.first=100 mm:300 mm:3"]
    result = choose(choice(only("110 mm"), base, ranges=ranges), trials=100, workers=1)
    best = min(result.finalists, key=lambda entry: entry.uncertainty)
    assert best.candidate.values["gate.spacing"] == pytest.approx(110.0, abs=0.2)
    assert best.uncertainty < 1e-5
