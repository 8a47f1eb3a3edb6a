"""How fast parts may follow one another."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from gatesim.api.result import Pictured, watched
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.studies.feed import feed as fed
from gatesim.studies.feed.supply import spacing_of

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True)
class Beside:
    """The highest rate at gaps of one kind."""

    gaps: str
    limit: float
    limit_interval: tuple[float, float]

    KEYS: ClassVar = {"gaps": "gaps", "limit": "limit", "limit_interval": "limit_interval"}


@dataclass(frozen=True, repr=False)
class Feed(Pictured, fed.FeedResult):
    """Yield against the rate, the highest rate that will do, and what limits it.

    ``beside``: the highest rate at even and at random gaps, whichever was asked for, with its 95 %
    confidence interval; 1/s.
    """

    beside: Sequence[Beside]

    KEYS: ClassVar = {**fed.FeedResult.KEYS, "beside": "beside"}
    UNITS: ClassVar = {"limit": "1/s", "limit_low": "1/s", "limit_high": "1/s", "busy_time": "s"}

    def __str__(self) -> str:
        from gatesim.view.feedtext import feed_text

        return feed_text(self, [(b.gaps, b.limit, *b.limit_interval) for b in self.beside])

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """What becomes of the parts, against the rate."""
        from gatesim.view.feedchart import feed_chart

        return feed_chart(self, ax)


def feed(
    scenario: Scenario,
    *,
    parts: int = 20_000,
    gaps: str = "exponential",
    scatter: float = 0.2,
    rates: str | Sequence[float] | None = None,
    least_yield: float = 0.99,
    seed: int = 1,
    workers: int | None = None,
) -> Feed:
    """Feed streams of parts at several rates, and close in on the highest that will do.

    ``gaps``: "fixed", "uniform", "normal" or "exponential", with ``scatter`` (standard
    deviation over mean) of the middle two. ``rates``: in 1/s, or as text "LOW:HIGH:POINTS" in
    parts a minute; left out, about the limit. Raises InputError.
    """
    wanted = _rates(rates) if isinstance(rates, str) else rates
    patterns = [gaps, *(pattern for pattern in ("fixed", "exponential") if pattern != gaps)]
    feedings = [fed.Feeding(spacing_of(pattern, scatter), least_yield, parts, seed) for pattern in patterns]
    several = fed.feed_with(
        scenario, feedings, [wanted, *[None] * (len(patterns) - 1)], workers, progress=watched()
    )
    found = several[0]
    others = several if rates is None else several[1:]
    by_pattern = {one.feeding.gaps: one for one in others}
    beside = [
        Beside(pattern, by_pattern[pattern].limit, by_pattern[pattern].limit_interval)
        for pattern in ("fixed", "exponential")
        if pattern in by_pattern
    ]
    return Feed.of(found, beside=beside)


def _rates(text: str) -> list[float]:
    """Rates in 1/s from LOW:HIGH:POINTS in parts a minute. Raises InputError."""
    try:
        low, high, points = (float(part) for part in text.split(":"))
        if not (0.0 < low < high < math.inf and 2 <= points <= 1000 and points == int(points)):
            raise ValueError
    except ValueError:
        raise InputError(f"--rates: given {text!r}, expected LOW:HIGH:POINTS such as 10:120:12") from None
    return [float(rate) / 60.0 for rate in np.linspace(low, high, int(points))]
