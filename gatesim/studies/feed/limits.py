"""The highest rate at which a figure is still reached: closed in on by a few rates a round.

Between two neighbouring rates of the first look lie `STEPS` finer ones, in equal ratios. Sought are the
first two of all these between which the figure falls below what is wanted.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from gatesim.studies.feed.fate import Fate
from gatesim.studies.feed.streams import RatePoint

Figure = Callable[[RatePoint], float]
Points = Mapping[int, RatePoint]

STEPS = 729
"""From one rate of the first look to the next: a limit is known to 0.03 to 0.06 %."""

SKIPPED = 3
"""Every so many-th rate of a first look that is not shown is looked at."""


SHRUNK = 0.8
"""What a round should leave of a bracket at most."""


def correct(point: RatePoint) -> float:
    """Share of the parts read correctly."""
    return float(point.shares[Fate.CORRECT])


FIGURES: tuple[Figure, ...] = (correct, lambda p: p.correct_interval[0], lambda p: p.correct_interval[1])
"""The yield, and the two ends of its confidence interval."""


@dataclass
class Search:
    """Closing in on the first step at which a figure is below ``least``.

    ``expected``: the step at which it was last expected to fall, None before; ``width``: of the bracket then.
    """

    figure: Figure
    least: float
    expected: float | None = None
    width: float = math.inf

    def bracket(self, points: Points) -> tuple[float, float]:
        """The first two neighbouring steps known between which the figure falls below ``least``.

        NaN for the lower if it is below from the start, inf for the upper if it never falls.
        """
        low = math.nan
        for step in sorted(points):
            if self.figure(points[step]) < self.least:
                return low, step
            low = step
        return low, math.inf

    def closer(self, points: Points) -> set[int]:
        """One or two steps within the bracket; none where it is a single step wide, or open."""
        low, high = self.bracket(points)
        if not (math.isfinite(low) and math.isfinite(high)) or high - low == 1:
            return set()
        sixth = (high - low) / 6
        known = self.expected is None or low - sixth - 1 <= self.expected <= high + sixth + 1
        # of few parts the figure is a flight of stairs, along a tread of which one would creep step by step
        creeping, self.width = high - low > SHRUNK * self.width, high - low
        self.expected, off = self._expect(points, int(low), int(high))
        middle = self.expected
        if not known or creeping or off > sixth:  # by thirds
            middle, off = (low + high) / 2, sixth
        before = min(max(math.floor(middle - off), int(low)), int(high) - 1)
        after = max(min(math.ceil(middle + off), int(high)), before + 1)
        return {before, after} - {int(low), int(high)} or {int(low + high) // 2}

    def _expect(self, points: Points, low: int, high: int) -> tuple[float, float]:
        """The step between ``low`` and ``high`` at which the figure will fall, and how far that may be off.

        By secant and parabola, whose distance says how good they are.
        """
        y_low, y_high = self._over(points[low]), self._over(points[high])
        slope = (y_high - y_low) / (high - low)
        secant = low - y_low / slope
        # one too close to either would bend it by chance
        far = (high - low) / 4
        others = [step for step in points if min(abs(step - low), abs(step - high)) >= far]
        if not others:
            return secant, high - low
        third = min(others, key=lambda step: abs(step - secant))
        bend = ((self._over(points[third]) - y_high) / (third - high) - slope) / (third - low)
        # y_low + b t + bend t^2 = 0 at t from low on; b < 0, else the root is not the one within
        b = slope - bend * (high - low)
        parabola = low + 2 * y_low / (math.sqrt(max(b * b - 4 * bend * y_low, 0.0)) - b)
        if not low <= parabola <= high:
            parabola = secant
        return parabola, max(abs(parabola - secant), 0.5)

    def _over(self, point: RatePoint) -> float:
        """Positive where the figure is reached: by how much the lost parts, as a logarithm, are fewer."""
        whole = 1.0 + 0.5 / int(point.fates.sum())
        return math.log((whole - self.least) / (whole - self.figure(point)))


@dataclass
class Curve:
    """Points evaluated so far, of a first look at ``rates`` (1/s), rising, with a yield of ``least`` wanted.

    ``points`` by the number of the step from the slowest rate on.
    """

    rates: Sequence[float]
    least: float
    points: dict[int, RatePoint] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.searches = [Search(figure, self.least) for figure in FIGURES]

    def rate(self, step: float) -> float:
        """Rate (1/s) at a step; NaN and inf are themselves."""
        if not math.isfinite(step):
            return step
        cell, rest = divmod(int(step), STEPS)
        if not rest:
            return self.rates[cell]
        low, high = self.rates[cell : cell + 2]
        return float(low * (high / low) ** (rest / STEPS))

    def first_look(self, *, shown: bool) -> list[int]:
        """Steps to begin with: all rates, or enough of them to close in on what lies between."""
        last = len(self.rates) - 1
        return [STEPS * i for i in range(last + 1) if shown or i % SKIPPED == 0 or i == last]

    def closer(self) -> list[int]:
        """Steps that close in on where the yield, and the ends of its interval, fall below what is wanted."""
        wanted = set[int]().union(*(search.closer(self.points) for search in self.searches))
        return sorted(wanted.difference(self.points))

    def looked_at(self) -> list[RatePoint]:
        """The points of the first look, by rising rate."""
        steps = [STEPS * i for i in range(len(self.rates))]
        return [self.points[step] for step in steps if step in self.points]

    def limits(self) -> tuple[float, float, float]:
        """Highest rate for the yield itself and for the two ends of its confidence interval, 1/s."""
        found = [search.bracket(self.points) for search in self.searches]
        limit, low, high = (math.inf if math.isinf(top) else self.rate(bottom) for bottom, top in found)
        return limit, low, high

    def lost_to(self) -> str:
        """The element blamed most just above the limit, empty where there is none."""
        above = self.searches[0].bracket(self.points)[1]
        return "" if math.isinf(above) else self.points[int(above)].lost_to
