"""Counter: what a free-running clock and an encoder make of an interval."""

import math
from typing import Any

import numpy as np

from gatesim.counter import Clock, Counter, Encoder, Hardware, Polled, count
from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.outcome import Outcome
from gatesim.shopfloor.evidence.check import Check

KALISZ = "Kalisz, Metrologia 41 (2004) 17; derived, citation from memory"
PRACTICE = "common practice, no source"
N = 200_000


def _dwell(counter: Counter, dwell: float, trials: int) -> Any:
    """Counts of the dwell in ``trials`` passages of random phase."""
    gates = [np.tile([1.0, 1.0 + dwell], (trials, 1)), np.tile([1.0 + 0.5 * dwell, 3.0], (trials, 1))]
    draw = Streams(1, 0, trials) if trials > 1 else Nominal(1)
    return count(counter, gates, draw).counts().dwell


def _moments(fraction: float) -> tuple[float, float, float]:
    counts = _dwell(Counter(Clock(1e5), Hardware()), (700.0 + fraction) * 1e-5, N)
    return float(np.mean(counts)), float(np.var(counts)), float(np.ptp(counts))


def _over_fractions() -> float:
    """Variance of the counting error over evenly spread fractions of a period."""
    dwell = (700.0 + (np.arange(N) + 0.5) / N) * 1e-5
    gates = [np.stack([np.ones(N), 1.0 + dwell], axis=1), np.tile([1.001, 3.0], (N, 1))]
    counts = count(Counter(Clock(1e5), Hardware()), gates, Streams(2, 0, N)).counts().dwell
    return float(np.var(counts - dwell * 1e5))


def _encoder(factor: int) -> float:
    """Counts a metre of travel of an encoder of 1000 lines on a roller of 100 mm."""
    source = Encoder(1000, factor, 0.1, 0.0, 0.0, 0.0, lambda t: t)
    gates = [np.array([[1.0, 2.0]]), np.array([[1.5, 3.0]])]
    return float(count(Counter(source, Hardware()), gates, Nominal(1)).counts().dwell[0])


def _overflow(dwell: float, width: int) -> float:
    gates = [np.array([[1.0, 1.0 + dwell]]), np.array([[1.1, np.inf]])]
    done = count(Counter(Clock(1e5), Hardware(), width=width), gates, Nominal(1))
    return float(done.outcome[0, 0] == Outcome.OVERFLOW)


def _polled() -> tuple[float, float]:
    """Spread of a dwell read once a scan of 2 ms, in scans: values that occur, and their mean."""
    counts = _dwell(Counter(Clock(1e6), Polled(2e-3, 0.0)), 5e-3, N)
    return float(np.ptp(counts)) / 2000.0, float(np.mean(counts)) / 2000.0


CHECKS = (
    Check(
        "A dwell of n + 0.3 periods counts n or n + 1: mean exact, variance f (1 - f)",
        KALISZ, (700.3, 0.21, 1.0), lambda: _moments(0.3), 0.004, "4 standard errors of 200,000 phases",
        "counts",
    ),
    Check(
        "Averaged over the fraction, the variance of a count is 1/6",
        KALISZ, (1.0 / 6.0,), _over_fractions, 0.002, "4 standard errors of 200,000 phases", "counts squared",
    ),
    Check(
        "A clock that is 100 ppm fast counts 100 in a million too many",
        "definition of relative deviation", (1_000_100.0,),
        lambda: _dwell(Counter(Clock(1e6, 1e-4), Hardware()), 1.0, 1), 1.0, "one count",
        "counts",
    ),
    Check(
        "A drift of 10 ppm/s adds half its square in time",
        "integral of a linear drift; derived", (4_000_080.0,),
        lambda: _dwell(Counter(Clock(1e6, 0.0, 1e-5), Hardware()), 4.0, 1), 1.0, "one count", "counts",
    ),
    Check(
        "An encoder of 1000 lines on a roller of 100 mm gives 1, 2 or 4 counts a line",
        PRACTICE, tuple(f * 1000.0 / (math.pi * 0.1) for f in (1, 2, 4)),
        lambda: [_encoder(f) for f in (1, 2, 4)], 1.0, "one count", "1/m",
    ),
    Check(
        "16 bits overflow at 65,536 counts and not before, 32 bits hold them",
        "2^16; arithmetic", (0.0, 1.0, 0.0),
        lambda: [_overflow(0.65534, 16), _overflow(0.65537, 16), _overflow(0.65537, 32)], 0.0, "yes or no",
    ),
    Check(
        "An input read once a scan of 2 ms counts 5 ms as two scans or three, exact on the mean",
        "as a clock of the scan's period; derived", (1.0, 2.5), _polled, 0.006,
        "4 standard errors of 200,000 phases", "scans",
    ),
)  # fmt: skip
