"""The highest rate at which a figure is still reached: closed in on by few evaluations of many rates each."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.streams import RatePoint

SECTIONS, ROUNDS = 3, 6
"""A limit is closed in on by thirds, so many times: to 0.1 %."""


@dataclass
class Curve:
    """Points evaluated so far."""

    evaluate: Callable[[Sequence[float]], list[RatePoint]]
    points: dict[float, RatePoint] = field(default_factory=dict)

    def add(self, rates: Sequence[float]) -> None:
        """Evaluate what is new of the rates."""
        new = [rate for rate in rates if rate not in self.points]
        self.points.update({point.rate: point for point in self.evaluate(new)})

    def bracket(self, figure: Callable[[RatePoint], float], least: float) -> tuple[float, float]:
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


def limits(curve: Curve, least: float) -> tuple[float, float, float]:
    """Highest rate for the yield itself and for the two ends of its confidence interval."""
    figures = [correct, lambda p: p.correct_interval[0], lambda p: p.correct_interval[1]]
    for _ in range(ROUNDS):
        wanted: list[float] = []
        for figure in figures:
            low, high = curve.bracket(figure, least)
            if math.isfinite(low) and math.isfinite(high):
                wanted += np.geomspace(low, high, SECTIONS + 1)[1:-1].tolist()
        curve.add(sorted(set(wanted)))
    found = [curve.bracket(figure, least) for figure in figures]
    limit, low, high = (math.inf if math.isinf(top) else bottom for bottom, top in found)
    return limit, low, high
