"""Table of the counter."""

from collections.abc import Mapping
from typing import Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.counter.counter import Counter
from gatesim.counter.source import SOURCES, ClockKeys, EncoderTable, SourceTable, Travel
from gatesim.counter.timing import AT_ONCE, TIMINGS, TimingTable
from gatesim.ground import keys
from gatesim.ground.table import Misfit, TableValues
from gatesim.inputfilter import Filter


class CounterTable(ClockKeys):
    """The counter and the inputs in front of it."""

    called: ClassVar[tuple[str, ...]] = ("clock", "timer", "controller", "plc")
    synonyms: ClassVar[Mapping[str, str]] = {
        "clock": "frequency",
        "clock_frequency": "frequency",
        "rate": "frequency",
        "bits": "width",
        "scan_time": "timing",
        "cycle_time": "timing",
    }
    encoder: EncoderTable | None = Field(default=None, description="Encoder counted instead of a clock.")
    width: Literal[16, 32] = Field(default=32, description="Width of the count register in bits.")
    input_frequency_limit: keys.Frequency | None = Field(
        default=None, description="Highest frequency that the count input follows."
    )
    timing: Annotated[TimingTable, TIMINGS] = Field(
        default=AT_ONCE, description="How the gate signals reach the counter."
    )
    counting: Literal["until-rearm", "while-dark"] = Field(
        default="until-rearm",
        description="Count on until re-armed, latching each edge; or only while the first gate is dark.",
    )

    def check(self, key: str, *, belt: bool) -> None:
        """Raise Misfit unless exactly one source is stated, and fits a rig with a belt or without."""
        stated = [source for kind in SOURCES if (source := kind.stated(self)) is not None]
        if len(stated) != 1:
            said = "both" if stated else "neither"
            expected = f'either a frequency such as "100 kHz" or a table [{key}.encoder]'
            raise Misfit(key, said, expected)
        self.source.check(key, belt=belt)

    @property
    def source(self) -> SourceTable:
        """What is counted."""
        return next(source for kind in SOURCES if (source := kind.stated(self)) is not None)

    def build(
        self, values: TableValues, travel: Travel, pulse_filter: Filter | None, *, quantised: bool
    ) -> Counter:
        """The stage; ``travel`` of what turns the source, ``pulse_filter`` for its pulses if it has one."""
        return Counter(
            self.source.build(values, travel),
            self.timing.build(TableValues(values.values, f"{values.name}.timing")),
            self.width,
            self.counting,
            values.get("input_frequency_limit", np.inf),
            quantised=quantised,
            pulse_filter=pulse_filter if self.source.passes_filter else None,
        )
