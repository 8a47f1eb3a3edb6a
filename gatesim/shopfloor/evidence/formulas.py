"""Length formulas, under constant acceleration and with the facts of the trade."""

import math
from typing import Any

import numpy as np

from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.prediction.predict import predict
from gatesim.scenario import parse_text
from gatesim.shopfloor.evidence.check import Check

LAW = "x = v t + a t^2/2, any mechanics text; derived"
PRACTICE = "common practice, no source"
LENGTH, SPACING, THIRD, SPEED, GAIN = 0.24, 0.05, 0.45, 1.8, 3.2
ROUNDING = "rounding of double precision"
EXACT = ("known-acceleration", "fixed-release", "four-edge", "three-gates")


def _time(distance: float, speed: float = SPEED, gain: float = GAIN) -> float:
    return 2.0 * distance / (speed + math.sqrt(speed**2 + 2.0 * gain * distance))


def _read(name: str, release: float = math.nan, speed: float = SPEED, gain: float = GAIN) -> float:
    """Reading of a formula from the exact times of a part under constant acceleration."""
    at = (LENGTH, SPACING, LENGTH + SPACING, THIRD)
    counts = Counts(*(np.array([_time(x, speed, gain)]) for x in at))
    held = Constants(SPACING, THIRD, 1.0, 0.001, gain, release)
    return float(FORMULAS[name].length(counts, held)[0])


def _uncorrected() -> float:
    dwell, capture = _time(LENGTH), _time(SPACING)
    return LENGTH - 0.5 * GAIN * dwell * (dwell - capture)


def _rear_edge_bias(gain: float) -> float:
    dwell, front, rear = (_time(x, SPEED, gain) for x in (LENGTH, SPACING, LENGTH + SPACING))
    return 0.25 * gain * dwell * (front + rear - dwell)


def _from_rest(x: float) -> float:
    root = math.sqrt(x)
    return SPACING * (math.sqrt(x + LENGTH) - root) / (math.sqrt(x + SPACING) - root)


def _dropped(x: float) -> dict[str, float]:
    """Whole chain: a part released at rest, counted at 100 MHz. Formula -> reading in m."""
    text = (
        f'[part]\nlength = "{LENGTH} m"\n[path]\nslope = "40 deg"\nfriction = 0.15\n[gate]\nfirst = "{x} m"\n'
        f'spacing = "{SPACING} m"\nrearm = "{THIRD} m"\n[counter]\nfrequency = "100 MHz"\n'
    )
    found = predict(parse_text(text, "check")).readings
    return {r.formula: math.nan if r.length_m is None else r.length_m for r in found}


def _corrected(read: float, speed: float, gain: float) -> float:
    """Length by the formula with known acceleration from an uncorrected reading at this speed."""
    counts = Counts(
        np.array([read / speed]), np.array([0.05 / speed]), np.array([np.nan]), np.array([np.nan])
    )
    held = Constants(0.05, math.nan, 1.0, math.nan, gain, math.nan)
    return float(FORMULAS["known-acceleration"].length(counts, held)[0])


def _braked() -> float:
    """Error of spacing-dwell for a braked part of 170 mm at its terminal speed of 0.58 m/s, in mm."""
    text = (
        '[part]\nlength = "170 mm"\nmass = "80 g"\n[path]\nslope = "36 deg"\nfriction = 0.2\n'
        '[brake]\nstart = "50 mm"\nlength = "1200 mm"\nterminal_speed = "0.58 m/s"\n'
        'critical_speed = "5 m/s"\n[gate]\nfirst = "700 mm"\nspacing = "50 mm"\n'
        '[counter]\nfrequency = "100 kHz"\n'
    )
    error: float | None = predict(parse_text(text, "check")).reading("spacing-dwell").error_m
    assert error is not None
    return 1e3 * error


def _exact(name: str) -> Check:
    release = SPEED**2 / (2.0 * GAIN)  # from rest, this far above the first gate
    return Check(
        f"{name} is exact under constant acceleration",
        LAW, (LENGTH,), lambda: _read(name, release), 1e-13, ROUNDING, "m",
    )  # fmt: skip


def _speed(counts: float) -> Any:
    return SPACING / (counts * 1e-5)


CHECKS = (
    *(_exact(name) for name in EXACT),
    Check(
        "spacing-dwell reads short by (a/2) T (T - t_s)",
        LAW, (_uncorrected(),), lambda: _read("spacing-dwell"), 1e-13, ROUNDING, "m",
    ),
    Check(
        "rear-edge reads long by a T (t_s + t_r)/4 to first order",
        LAW,
        (_rear_edge_bias(1e-6),),
        lambda: _read("rear-edge", gain=1e-6) - LENGTH, 1e-13, "second order of a 1e-6 m/s^2", "m",
    ),
    Check(
        "encoder-pitch is counts times travel of a count",
        "definition", (0.001 * _time(LENGTH),), lambda: _read("encoder-pitch"), 1e-16, ROUNDING, "m",
    ),
    Check(
        "From rest the acceleration cancels: s (sqrt(x + L) - sqrt(x))/(sqrt(x + s) - sqrt(x))",
        "derived from x = a t^2/2; whole chain at 100 MHz", (_from_rest(0.3),),
        lambda: _dropped(0.3)["spacing-dwell"], 1e-6, "counts of 10 ns", "m",
    ),
    Check(
        "The whole chain with the corrected formulas finds the true length",
        LAW, (LENGTH,) * 4,
        lambda: [_dropped(0.3)[name] for name in EXACT],
        1e-6, "counts of 10 ns", "m",
    ),
    Check(
        "50 mm in 672 counts of 100 kHz are 7.44 m/s, in 8600 counts 0.581 m/s",
        PRACTICE, (7.44, 0.581), lambda: (_speed(672.0), _speed(8600.0)), 0.0005,
        "three digits stated", "m/s",
    ),
    Check(
        "A part of 0.17 m that reads 0.162 m at 1.9 m/s gains 3.2 m/s^2",
        PRACTICE, (0.17,), lambda: _corrected(0.162, 1.9, 3.2), 0.0005, "two digits of the acceleration", "m",
    ),
    Check(
        "A launched part of 0.27 m that reads 0.2677 m at 7.44 m/s still gains 4.3 m/s^2",
        PRACTICE, (0.27,), lambda: _corrected(0.2677, 7.44, 4.3), 0.00005, "two digits of the acceleration",
        "m",
    ),
    Check(
        "That is what a slope of 36 deg with friction 0.2 gives at 9.81 m/s^2 (4.2 m/s^2)",
        PRACTICE, (4.3,), lambda: 9.81 * (math.sin(math.radians(36.0)) - 0.2 * math.cos(math.radians(36.0))),
        0.15, "two digits stated", "m/s^2",
    ),
    Check(
        "A braked part of 170 mm at 0.58 m/s reads within 1 mm",
        PRACTICE, (0.0,), _braked, 1.0, "as stated", "mm",
    ),
)  # fmt: skip
