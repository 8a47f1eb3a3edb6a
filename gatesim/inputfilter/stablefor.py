"""A level is accepted only after it held for a time."""

from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.ground.sampling import Continuous
from gatesim.ground.table import TableValues
from gatesim.ground.transition import held
from gatesim.inputfilter.base import Filter, FilterTable


@dataclass(frozen=True)
@accepts(time="s")
class StableFor(Filter):
    """Accept a level after it held for ``time`` (s): both edges come late by that time.

    Swallows pulses and gaps shorter than ``time``; a train of pulses and gaps all shorter
    passes nothing at all. Common practice for debouncing, no source.
    """

    time: Scalar

    @property
    def minimum_pulse_width(self) -> float:
        """See `Filter.minimum_pulse_width`."""
        return float(np.max(self.time))

    @property
    def stretches_to(self) -> Scalar:
        """See `Filter.stretches_to`."""
        return 0.0

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        # an edge that arrives just when the time is up no longer undoes the level
        return held(times, self.time) + column(self.time)


class StableForTable(Continuous, FilterTable):
    """A level is accepted only after it held for the time."""

    kind: Literal["stable-for"]
    time: keys.Period = Field(description="Time a level must hold.")

    def build(self, values: TableValues) -> StableFor:
        """See `FilterTable.build`."""
        return StableFor(values["time"])

    @property
    def setting(self) -> str:
        """See `FilterTable.setting`."""
        return f"stable for {self.time.text}"

    @property
    def against_chatter(self) -> str:
        """See `FilterTable.against_chatter`."""
        return "waits them out, so that an edge comes late by the filter time and its own chatter"

    @property
    def when_stretched(self) -> str:
        """See `FilterTable.when_stretched`; it stretches nothing."""
        return ""

    @classmethod
    def kind_of_one_time(cls) -> str:
        """See `FilterTable.kind_of_one_time`."""
        return "stable-for"

    @classmethod
    def of_time(cls, time: Scalar) -> StableFor:
        """See `FilterTable.of_time`."""
        return StableFor(time)
