"""The highest rate at which a figure is still reached: closed in on by a few rates a round."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.streams import RatePoint

Figure = Callable[[RatePoint], float]

SECTIONS, ROUNDS = 3, 6
"""A limit is closed in on by thirds, so many times: to 0.1 %."""


@dataclass
class Curve:
    """Points evaluated so far."""

    points: dict[float, RatePoint] = field(default_factory=dict)

    def add(self, points: Sequence[RatePoint]) -> None:
        """Note what was evaluated."""
        self.points.update({point.rate: point for point in points})

    def without_known(self, rates: Sequence[float]) -> list[float]:
        """Those rates, rising, that are not evaluated yet."""
        return sorted(set(rates).difference(self.points))

    def bracket(self, figure: Figure, least: float) -> tuple[float, float]:
        """The first two neighbouring rates between which the figure falls below ``least``.

        NaN for the lower if it is below from the start, inf for the upper if it never falls.
        """
        low = math.nan
        for rate in sorted(self.points):
            if figure(self.points[rate]) < least:
                return low, rate
            low = rate
        return low, math.inf


def correct(point: RatePoint) -> float:
    """Share of the parts read correctly."""
    return float(point.shares[Fate.CORRECT])


def closer(curve: Curve, least: float) -> list[float]:
    """Rates that close in on where the yield, and the ends of its interval, fall below ``least``."""
    wanted: list[float] = []
    for figure in FIGURES:
        low, high = curve.bracket(figure, least)
        if math.isfinite(low) and math.isfinite(high):
            wanted += np.geomspace(low, high, SECTIONS + 1)[1:-1].tolist()
    return curve.without_known(wanted)


def limits(curve: Curve, least: float) -> tuple[float, float, float]:
    """Highest rate for the yield itself and for the two ends of its confidence interval."""
    found = [curve.bracket(figure, least) for figure in FIGURES]
    limit, low, high = (math.inf if math.isinf(top) else bottom for bottom, top in found)
    return limit, low, high


FIGURES: tuple[Figure, ...] = (correct, lambda p: p.correct_interval[0], lambda p: p.correct_interval[1])
