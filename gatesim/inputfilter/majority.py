"""A level is accepted when enough of the last samples show it."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import Quantity, accepts
from gatesim.ground.sampling import Sampling
from gatesim.ground.table import Misfit, TableValues
from gatesim.ground.transition import Accepted, apart, edge_by_edge, held
from gatesim.inputfilter.base import Filter, FilterTable
from gatesim.inputfilter.stablefor import StableForTable


@dataclass(frozen=True)
@accepts(period="s")
class Majority(Filter):
    """Sample every ``period`` (s); change when ``needed`` of the last ``samples`` agree.

    The phase of the samples is random, each input's own or, ``together``, one for all inputs of a
    card. Common practice, no source.
    """

    period: Scalar
    samples: int
    needed: int
    together: bool = False

    @property
    def minimum_pulse_width(self) -> float:
        """See `Filter.minimum_pulse_width`."""
        return float(np.max(self.period)) * self.needed

    @property
    def stretches_to(self) -> Scalar:
        """See `Filter.stretches_to`."""
        return 0.0

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        phase = draw.uniform(_phase(name, together=self.together))
        period = column(self.period)
        # index of the first sample that sees each edge; a sample at the very edge sees the new level
        first = np.ceil(times / period - phase[:, None])
        # a level that holds up to the next sample is seen by one
        seen = held(first, 1.0)
        found = apart(seen, lambda some: _changes(some, self.samples, self.needed))
        return (found + phase[:, None]) * period


def _phase(name: str, *, together: bool) -> str:
    card, _, _ = name.partition("@")
    return f"{card if together else name}.sampling_phase"


def _changes(first: Array, samples: int, needed: int) -> Array:
    """Sample indices at which the output changes, (n, m), inf-padded.

    The number of dark samples among the last ``samples`` is piecewise linear in the index,
    with kinks where a level enters (``first``) and where it leaves the window, so that each
    piece is looked at once and a change found by counting steps.
    """
    n = len(first)
    # twice the index, and one more where a level leaves: sorted by one key, entering before leaving
    marks = np.concatenate([2.0 * first, 2.0 * (first + samples) + 1.0], axis=1)
    marks.sort(axis=1)
    accepted = Accepted(n)
    dark, newest, oldest = (np.zeros(n, bool) for _ in range(3))
    count = np.zeros(n)  # dark samples in the window, at the sample before the piece
    for _, rows, mark, following in edge_by_edge(marks):
        start, end = np.floor(0.5 * mark), np.floor(0.5 * following)
        # of kinks at the same sample, all but the last begin a piece of no length
        enters = mark == 2.0 * start
        new, old, level, so_far = newest[rows] ^ enters, oldest[rows] ^ ~enters, dark[rows], count[rows]
        steps = np.where(level, so_far - (samples - needed), needed - so_far)
        at = start + np.maximum(steps, 1.0) - 1.0
        # on its way to change: more samples get dark while the output is light, or the other way round
        hit = (new != old) & (new != level) & (at < end)
        accepted.add(at, hit, rows)
        newest[rows], oldest[rows], dark[rows] = new, old, level ^ hit
        # nothing comes after the last kink
        length = np.subtract(end, start, out=np.zeros(len(end)), where=end < np.inf)
        count[rows] = so_far + np.subtract(new, old, dtype=float) * length
    return accepted.lists()


class MajorityTable(FilterTable):
    """A level is accepted when enough of the last samples show it."""

    kind: Literal["majority"]
    period: keys.Period = Field(description="Sampling period of the input.")
    samples: int = Field(ge=1, le=64, description="Number of last samples looked at.")
    needed: int = Field(ge=1, le=64, description="How many of them must agree.")

    together: bool = Field(
        default=False,
        description="Whether all inputs are sampled at the same instants, as by one input card; if not, each "
        "at instants of its own phase. Phases are uniform.",
    )

    def build(self, values: TableValues) -> Majority:
        """See `FilterTable.build`."""
        return Majority(values["period"], self.samples, self.needed, self.together)

    def check(self, key: str) -> None:
        """See `FilterTable.check`."""
        if not self.samples / 2 < self.needed <= self.samples:
            expected = f"more than half of the {self.samples} samples and not more than all"
            raise Misfit(f"{key}.needed", str(self.needed), expected)

    @property
    def setting(self) -> str:
        """See `FilterTable.setting`."""
        return f"{self.needed} of {self.samples} samples, one every {self.period.text}"

    @property
    def against_chatter(self) -> str:
        """See `FilterTable.against_chatter`."""
        return "outvotes them"

    @property
    def when_stretched(self) -> str:
        """See `FilterTable.when_stretched`; it stretches nothing."""
        return ""

    def sampling(self, name: str) -> Sampling | None:
        """See `FilterTable.sampling`."""
        return Sampling(self.period, _phase(name, together=self.together))

    def smoothed(self) -> FilterTable:
        """See `FilterTable.smoothed`: half a period for the first sample, one for each that must agree."""
        held = Quantity((self.needed - 0.5) * self.period.nominal, "s")
        return StableForTable.model_construct(kind="stable-for", time=held)
