"""Streams of parts at given rates: how many of the counted parts come to which end."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.draw import Joined, Repeated
from gatesim.scenario import Scenario
from gatesim.studies.feed.fate import ELEMENTS, Fate, fates
from gatesim.studies.feed.process import process
from gatesim.studies.feed.supply import Crossings, PartDraws, Parts, Spacing, Supply
from gatesim.studies.model import levels_of
from gatesim.studies.rig import RigModel

COUNTED = 100
"""Parts of a stream that are counted."""

LEAD, TAIL = 10, 5
"""Parts before them, so that the stream is under way, and after them, so that each is followed."""

STREAMS = 100
"""Streams of a block."""

AT_ONCE = 32
"""Blocks, each at some rate, that are worked on together: many share the cost of a call."""

WHERE = 0.95
"""Confidence of the intervals."""


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

    @cached_property
    def correct_interval(self) -> tuple[float, float]:
        """95 % confidence interval of the share read correctly.

        The wider of Student's interval over the independent streams, which allows for parts
        of one stream sharing their fate, and the exact binomial one, which knows that no
        failure among few parts proves little.
        """
        from scipy.special import stdtrit  # deferred: costs start-up time

        from gatesim.studies.result import Proportion

        each = self.fates[:, Fate.CORRECT] / self.fates.sum(axis=1)
        mean, s = float(each.mean()), len(each)
        half = float(stdtrit(s - 1, 0.5 + WHERE / 2.0) * each.std(ddof=1) / math.sqrt(s))
        exact = Proportion(int(self.fates[:, Fate.CORRECT].sum()), int(self.fates.sum()), confidence=WHERE)
        return max(min(mean - half, exact.low), 0.0), min(max(mean + half, exact.high), 1.0)

    @property
    def shares(self) -> Array:
        """Share of the parts with each fate, (5,)."""
        share: Array = self.fates.sum(axis=0) / self.fates.sum()
        return share

    @property
    def lost_to(self) -> str:
        """The element that costs the most parts."""
        return ELEMENTS[int(self.elements.argmax())] if self.elements.any() else ""


def parts_of(rig: RigModel, seed: int, streams: int, block: int) -> Parts:
    """The parts of a block of ``streams`` streams; the rig as `ready` has made it."""
    draws = PartDraws(seed, block, streams, LEAD + COUNTED + TAIL, levels_of(rig))
    return Parts.of(rig.scenario, draws, rig.surface)


def ready(scenario: Scenario, streams: int) -> RigModel:
    """The rig for so many streams: its motion fitted before, where that pays in as many parts."""
    return RigModel(scenario).prepared(streams * (LEAD + COUNTED + TAIL), None)


def points_of(blocks: Sequence[Parts], asked: Sequence[tuple[Spacing, float]]) -> list[RatePoint]:
    """A point for each spacing and rate from all blocks; the same parts, gaps in proportion to the rate."""
    todo = [(supply, rate) for parts in blocks for supply, rate in _supplied(parts, asked)]
    found: list[RatePoint] = []
    for first in range(0, len(todo), AT_ONCE):
        found += _run(todo[first : first + AT_ONCE])
    return joined([found[i : i + len(asked)] for i in range(0, len(found), len(asked))])


def _supplied(parts: Parts, asked: Sequence[tuple[Spacing, float]]) -> list[tuple[Supply, float]]:
    of = {spacing: Supply.of(parts, spacing) for spacing in dict.fromkeys(spacing for spacing, _ in asked)}
    return [(of[spacing], rate) for spacing, rate in asked]


def joined(pieces: Sequence[Sequence[RatePoint]]) -> list[RatePoint]:
    """Points of the same rates from several blocks together, in the order of the blocks."""
    return [
        RatePoint(
            same[0].rate,
            np.concatenate([point.fates for point in same]),
            np.sum([point.elements for point in same], axis=0),
        )
        for same in zip(*pieces, strict=True)
    ]


def _run(released: Sequence[tuple[Supply, float]]) -> list[RatePoint]:
    """A point for each block at its rate, all of them run through the rig side by side."""
    scenario = released[0][0].parts.scenario
    crossings = Crossings.one_after_another([supply.at(rate) for supply, rate in released])
    judged = fates(scenario, crossings, process(scenario, crossings, _draws(released)))
    counted, points, row = slice(LEAD, LEAD + COUNTED), [], 0
    for supply, rate in released:
        rows = slice(row, row := row + supply.parts.draws.streams)
        fate, element = judged.fate[rows, counted], judged.element[rows, counted]
        table = np.stack([(fate == code).sum(axis=1) for code in Fate], axis=1)
        blamed = np.bincount(element[element >= 0], minlength=len(ELEMENTS))
        points.append(RatePoint(rate, table, blamed))
    return points


def _draws(released: Sequence[tuple[Supply, float]]) -> Joined:
    """Draws of the rigs; a block has the same at all its rates."""
    rigs = [supply.parts.draws.rig for supply, _ in released]
    return Joined(tuple(Repeated(rig, rigs.count(rig)) for rig in dict.fromkeys(rigs)))
