"""Yield of a rig against the rate at which parts are fed, and the highest rate that will do."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.chain.pipeline import run
from gatesim.ground.data import Keys
from gatesim.ground.draw import Nominal
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.studies.feed.limits import Curve
from gatesim.studies.feed.streams import COUNTED, STREAMS, RatePoint, joined, parts_of, points_of, ready
from gatesim.studies.feed.supply import Spacing
from gatesim.studies.workers import place

GRID = 16
"""Rates of the first look, in equal ratios."""

SLOWEST, SLOWEST_EXPONENTIAL, FASTEST = 0.1, 0.002, 2.0
"""The first and the last of them times the busy time; exponential gaps are now and then very short."""


@dataclass(frozen=True)
class Feeding:
    """What is asked: spacing of the parts, least yield, parts to count, seed."""

    spacing: Spacing
    least_yield: float = 0.99
    parts: int = 20_000
    seed: int = 1

    KEYS: ClassVar[Keys] = {
        "gaps": "gaps",
        "scatter": "scatter",
        "seed": "seed",
        "spacing": None,
        "least_yield": None,
        "parts": None,
    }

    @property
    def gaps(self) -> str:
        """Name of the distribution of the gaps."""
        return self.spacing.pattern

    @property
    def scatter(self) -> float:
        """Standard deviation of the gaps over their mean."""
        return self.spacing.scatter

    @property
    def streams(self) -> int:
        """Number of independent streams."""
        return max(-(-self.parts // COUNTED), 2)


@dataclass(frozen=True)
class FeedResult:
    """Result: points by rising rate, the highest rate that gives the wanted yield, and what limits it.

    ``limit`` (1/s) with its confidence interval: the rates at which the interval of the yield
    leaves the wanted one. NaN where the yield is not reached even at the slowest rate, inf
    where it still is at the fastest. ``limited_by``: the element blamed most just above the
    limit. ``busy_time`` of the nominal part, s.
    """

    scenario: Scenario
    feeding: Feeding
    points: Sequence[RatePoint]
    limit: float
    limit_low: float
    limit_high: float
    limited_by: str
    busy_time: float

    KEYS: ClassVar[Keys] = {
        "feeding": "",
        "parts": "parts",
        "busy_time": "busy_time",
        "wanted_yield": "wanted_yield",
        "limit": "limit",
        "limit_interval": "limit_interval",
        "limited_by": "limited_by",
        "points": "points",
        "scenario": None,
        "limit_low": None,
        "limit_high": None,
    }

    @property
    def parts(self) -> int:
        """Parts counted at each rate."""
        return int(self.points[0].fates.sum()) if self.points else 0

    @property
    def wanted_yield(self) -> float:
        """The share of parts that must be read correctly."""
        return self.feeding.least_yield

    @property
    def limit_interval(self) -> tuple[float, float]:
        """Ends of the confidence interval of the limit, 1/s."""
        return self.limit_low, self.limit_high


def feed(
    scenario: Scenario,
    feeding: Feeding,
    rates: Sequence[float] | None = None,
    workers: int | None = None,
    progress: bool = False,
) -> FeedResult:
    """Feed streams of parts to a rig at several rates, and close in on the highest that will do.

    ``rates`` (1/s) to look at; left out, in equal ratios about the limit that the nominal busy
    time sets. The result depends on the arguments, not on the workers. Raises InputError if
    the nominal part is not measured when it comes alone.
    """
    (found,) = feed_with(scenario, [feeding], [rates], workers, progress)
    return found


def feed_with(
    scenario: Scenario,
    feedings: Sequence[Feeding],
    rates: Sequence[Sequence[float] | None],
    workers: int | None = None,
    progress: bool = False,
) -> list[FeedResult]:
    """`feed` once for each of the feedings, with their rates: the same parts with other gaps.

    They ask for as many parts, of one seed. The first is shown: of the others fewer rates are looked at.
    """
    scenario = without_follower(scenario)
    busy = nominal_busy_time(scenario)
    from tqdm import tqdm  # deferred: costs start-up time

    looks = [
        sorted(_first_look(feeding, busy) if asked is None else asked)
        for feeding, asked in zip(feedings, rates, strict=True)
    ]
    rig = ready(scenario, feedings[0].streams)
    sizes = [min(STREAMS, feedings[0].streams - i) for i in range(0, feedings[0].streams, STREAMS)]
    with (
        tqdm(unit=" rates", disable=not progress) as bar,
        place(None, workers if len(sizes) > 1 else 1, 99) as (executor, window),
    ):
        made = [
            executor.submit(parts_of, rig, feedings[0].seed, streams, block)
            for block, streams in enumerate(sizes)
        ]
        blocks = [future.result() for future in made]
        size = -(-len(blocks) // window)

        def evaluate(asked: Sequence[tuple[Spacing, float]]) -> list[RatePoint]:
            futures = [
                executor.submit(points_of, blocks[i : i + size], asked) for i in range(0, len(blocks), size)
            ]
            points = joined([future.result() for future in futures])
            bar.update(len(asked))
            return points

        curves = _closed_in(feedings, looks, evaluate)
    return [
        FeedResult(scenario, feeding, curve.looked_at(), *curve.limits(), curve.lost_to(), busy)
        for feeding, curve in zip(feedings, curves, strict=True)
    ]


def _closed_in(
    feedings: Sequence[Feeding],
    looks: Sequence[Sequence[float]],
    evaluate: Callable[[Sequence[tuple[Spacing, float]]], list[RatePoint]],
) -> list[Curve]:
    """The curve of each feeding, from the first look on; all go on at once, since they share the work."""
    curves = [Curve(look, f.least_yield) for f, look in zip(feedings, looks, strict=True)]
    wanted = [curve.first_look(shown=number == 0) for number, curve in enumerate(curves)]
    while any(wanted):
        several = list(zip(feedings, curves, wanted, strict=True))
        points = evaluate([(f.spacing, curve.rate(step)) for f, curve, some in several for step in some])
        for _, curve, some in several:
            curve.points.update(zip(some, points[: len(some)], strict=True))
            points = points[len(some) :]
        wanted = [curve.closer() for curve in curves]
    return curves


def _first_look(feeding: Feeding, busy: float) -> list[float]:
    slowest = SLOWEST_EXPONENTIAL if feeding.spacing.pattern == "exponential" else SLOWEST
    return [float(rate) for rate in np.geomspace(slowest / busy, FASTEST / busy, GRID)]


def without_follower(scenario: Scenario) -> Scenario:
    """The rig without a next part of its own: the stream has many."""
    if scenario.follower is None:
        return scenario
    raw = {key: value for key, value in scenario.raw.items() if key != "follower"}
    return from_raw(raw, scenario.file)


def nominal_busy_time(scenario: Scenario) -> float:
    """Time from a nominal part's leading edge at gate 1 until the counter takes the next, s.

    Raises InputError if that part gives no reading, or the counter is never re-armed.
    """
    alone = run(scenario, Nominal(1))
    cycles = alone.counted.cycles
    busy = float(cycles.rearm[0, 0] - cycles.start[0, 0])
    outcome = Outcome(int(alone.outcome[0]))
    if not outcome.reads or math.isnan(busy):
        why = "The counter is never re-armed." if outcome.reads else explain_outcome(scenario, alone)
        raise InputError(f"{scenario.file}: the nominal part is not measured even if it comes alone. {why}")
    return busy
