"""A change is accepted at once, then further changes are ignored for a time."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, of_trials
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.ground.sampling import Continuous
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import TableValues
from gatesim.ground.transition import Accepted, edge_by_edge
from gatesim.inputfilter.base import Filter, FilterTable


@dataclass(frozen=True)
@accepts(time="s")
class HoldOff(Filter):
    """Accept a change at once, ignore the input for ``time`` (s), then take its actual level.

    Adds no delay to a clean edge. A pulse shorter than ``time`` is stretched to it; a gap
    that begins and ends within it is swallowed. Common practice, no source.
    """

    time: Scalar

    @property
    def minimum_pulse_width(self) -> float:
        """See `Filter.minimum_pulse_width`."""
        return float(np.max(self.time))

    @property
    def stretches_to(self) -> Scalar:
        """See `Filter.stretches_to`."""
        return self.time

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        n = len(times)
        accepted = Accepted(n)
        free_from = np.full(n, -np.inf)
        dark = np.zeros(n, bool)
        for number, rows, now, following in edge_by_edge(times):
            free, time = free_from[rows], of_trials(self.time, rows)
            differs = dark[rows] != (number % 2 == 0)
            takes = (now >= free) & (now < np.inf) & differs
            accepted.add(now, takes, rows)
            free = np.where(takes, now + time, free)
            # the hold-off may end before the next edge, on a level that was not taken
            late = (free > now) & (free < following) & differs & ~takes
            accepted.add(free, late, rows)
            free_from[rows] = np.where(late, free + time, free)
            dark[rows] ^= takes | late
        return accepted.lists()


class HoldOffTable(Continuous, FilterTable):
    """A change is accepted at once; further changes are ignored for the time."""

    kind: Literal["hold-off"]
    time: keys.Period = Field(description="Time in which further changes are ignored.")

    def build(self, values: TableValues) -> HoldOff:
        """See `FilterTable.build`."""
        return HoldOff(values["time"])

    @property
    def setting(self) -> str:
        """See `FilterTable.setting`."""
        return f"hold-off of {self.time.text}"

    @property
    def against_chatter(self) -> str:
        """See `FilterTable.against_chatter`."""
        return "is blind to them after it has passed the first at once"

    @property
    def when_stretched(self) -> str:
        """See `FilterTable.when_stretched`."""
        return (
            "less than the hold-off of the input filter: the part has left while the filter still ignored "
            "the input, and every part reads as long as the hold-off lasts. Use a shorter one."
        )

    @classmethod
    def suggested(cls, chatter: float) -> Suggestion:
        """See `FilterTable.suggested`."""
        text = f"{1e3 * chatter:.3g} ms"
        how = f"a change is taken at once and further ones ignored for {text}, longer than the chatter lasts"
        table = {"kind": "hold-off", "time": text}
        return Suggestion("hold-off filter against chatter", how, {"filter": table})

    @classmethod
    def kind_of_one_time(cls) -> str:
        """See `FilterTable.kind_of_one_time`."""
        return "hold-off"

    @classmethod
    def of_time(cls, time: Scalar) -> HoldOff:
        """See `FilterTable.of_time`."""
        return HoldOff(time)
