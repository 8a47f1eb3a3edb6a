"""Yield of a rig against the rate at which parts are fed, and the highest rate that will do."""

import math
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import wait
from dataclasses import dataclass, field
from functools import partial
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.chain.pipeline import run
from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Nominal, Repeated
from gatesim.ground.errors import InputError
from gatesim.ground.outcome import Outcome
from gatesim.scenario import Scenario
from gatesim.scenario.reader import from_raw
from gatesim.studies.feed.fate import ELEMENTS, Fate, fates
from gatesim.studies.feed.process import process
from gatesim.studies.feed.supply import Crossings, PartDraws, Spacing, Supply
from gatesim.studies.model import levels_of
from gatesim.studies.rig import RigModel
from gatesim.studies.workers import place

COUNTED = 100
"""Parts of a stream that are counted."""

LEAD, TAIL = 10, 5
"""Parts before them, so that the stream is under way, and after them, so that each is followed."""

STREAMS = 100
"""Streams worked on together."""

AT_ONCE = 8
"""Rates at which they are: what one costs hardly depends on how many there are."""

GRID = 16
"""Rates of the first look, in equal ratios."""

SLOWEST, SLOWEST_EXPONENTIAL, FASTEST = 0.1, 0.002, 2.0
"""The first and the last of them times the busy time; exponential gaps are now and then very short."""

SECTIONS, ROUNDS = 3, 6
"""A limit is closed in on by thirds, so many times: to 0.1 %."""

WHERE = 0.95
"""Confidence of the intervals."""


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
class RatePoint:
    """One rate (1/s): ``fates`` (s, 5) counted parts of each stream by `Fate`; ``elements`` (7,) blamed.

    ``lost_to`` is the element blamed most, empty if no part was lost.
    """

    rate: float
    fates: NDArray[np.int64]
    elements: NDArray[np.int64]

    KEYS: ClassVar[Keys] = {
        "rate": "rate",
        "by_fate": "",
        "correct_interval": "correct_interval",
        "losses": "lost_to",
        "fates": None,
        "elements": None,
    }

    @property
    def by_fate(self) -> dict[str, float]:
        """`shares` by the word of each fate."""
        return {fate.word: float(self.shares[fate]) for fate in Fate}

    @property
    def losses(self) -> dict[str, float]:
        """Share of the lost parts by the element blamed."""
        lost = int(self.elements.sum())
        return {name: int(n) / lost for name, n in zip(ELEMENTS, self.elements, strict=True) if n}

    @property
    def correct_interval(self) -> tuple[float, float]:
        """See `interval`."""
        return self.interval()

    @property
    def shares(self) -> Array:
        """Share of the parts with each fate, (5,)."""
        share: Array = self.fates.sum(axis=0) / self.fates.sum()
        return share

    @property
    def lost_to(self) -> str:
        """The element that costs the most parts."""
        return ELEMENTS[int(self.elements.argmax())] if self.elements.any() else ""

    def interval(self) -> tuple[float, float]:
        """95 % confidence interval of the share read correctly.

        The wider of Student's interval over the independent streams, which allows for parts
        of one stream sharing their fate, and the exact binomial one, which knows that no
        failure among few parts proves little.
        """
        from scipy.stats import t  # deferred: costs start-up time

        from gatesim.studies.result import share

        each = self.fates[:, Fate.CORRECT] / self.fates.sum(axis=1)
        mean, s = float(each.mean()), len(each)
        half = float(t.ppf(0.5 + WHERE / 2.0, s - 1) * each.std(ddof=1) / math.sqrt(s))
        exact = share(int(self.fates[:, Fate.CORRECT].sum()), int(self.fates.sum()), WHERE)
        return max(min(mean - half, exact.low), 0.0), min(max(mean + half, exact.high), 1.0)


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


@dataclass
class _Curve:
    """Points evaluated so far."""

    evaluate: Callable[[Sequence[float]], list[RatePoint]]
    points: dict[float, RatePoint] = field(default_factory=dict)

    def add(self, rates: Sequence[float]) -> None:
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
    scenario = without_follower(scenario)
    busy = nominal_busy_time(scenario)
    rates = _first_look(feeding, busy) if rates is None else rates
    from tqdm import tqdm  # deferred: costs start-up time

    blocks = -(-feeding.streams // STREAMS)
    with (
        tqdm(unit=" rates", disable=not progress) as bar,
        place(None, workers if blocks > 1 else 1, 99) as (
            executor,
            _,
        ),
    ):

        def evaluate(wanted: Sequence[float]) -> list[RatePoint]:
            task = partial(_block, scenario, feeding, tuple(wanted))
            futures = [executor.submit(task, block) for block in range(blocks)]
            wait(futures)
            bar.update(len(wanted))
            return _joined(wanted, [future.result() for future in futures])

        curve = _Curve(evaluate)
        curve.add(sorted(rates))
        shown = [curve.points[rate] for rate in sorted(rates)]
        limit, low, high = _limits(curve, feeding.least_yield)
    above = curve.bracket(_correct, feeding.least_yield)[1]
    blamed = curve.points[above].lost_to if above in curve.points else ""
    return FeedResult(scenario, feeding, shown, limit, low, high, blamed, busy)


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


def _correct(point: RatePoint) -> float:
    return float(point.shares[Fate.CORRECT])


def _limits(curve: _Curve, least: float) -> tuple[float, float, float]:
    """Highest rate for the yield itself and for the two ends of its confidence interval."""
    figures = [_correct, lambda p: p.interval()[0], lambda p: p.interval()[1]]
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


def _joined(rates: Sequence[float], blocks: Sequence[Mapping[float, RatePoint]]) -> list[RatePoint]:
    """Points of all blocks together, in the order of the blocks."""
    return [
        RatePoint(
            rate,
            np.concatenate([block[rate].fates for block in blocks]),
            np.sum([block[rate].elements for block in blocks], axis=0),
        )
        for rate in rates
    ]


def _block(
    scenario: Scenario, feeding: Feeding, rates: Sequence[float], block: int
) -> dict[float, RatePoint]:
    """Points of one block of streams; the same parts with the same gaps in proportion at every rate."""
    streams = min(STREAMS, feeding.streams - block * STREAMS)
    levels = levels_of(RigModel(scenario))
    draws = PartDraws(feeding.seed, block, streams, LEAD + COUNTED + TAIL, levels)
    supply = Supply.of(scenario, draws, feeding.spacing)
    counted = slice(LEAD, LEAD + COUNTED)
    found = {}
    for first in range(0, len(rates), AT_ONCE):
        some = rates[first : first + AT_ONCE]
        crossings = Crossings.one_after_another([supply.at(rate) for rate in some])
        judged = fates(scenario, crossings, process(scenario, crossings, Repeated(draws.rig, len(some))))
        for number, rate in enumerate(some):
            rows = slice(number * streams, (number + 1) * streams)
            fate, element = judged.fate[rows, counted], judged.element[rows, counted]
            table = np.stack([(fate == code).sum(axis=1) for code in Fate], axis=1)
            blamed = np.bincount(element[element >= 0], minlength=len(ELEMENTS))
            found[rate] = RatePoint(rate, table, blamed)
    return found
