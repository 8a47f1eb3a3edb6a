"""Table of the counter."""

from collections.abc import Mapping
from typing import TYPE_CHECKING, Annotated, ClassVar, Literal

import numpy as np
from pydantic import Field, create_model

from gatesim.counter.counter import Counter
from gatesim.counter.source import SOURCES, SourceTable, Travel
from gatesim.counter.timing import AT_ONCE, TIMINGS, TimingTable
from gatesim.ground import keys
from gatesim.ground.table import Misfit, Table, TableValues
from gatesim.inputfilter import Filter

if TYPE_CHECKING:  # nobody but a source itself is to know it by name
    _Counting = Table
else:
    _Counting = create_model(
        "_Counting",
        __base__=tuple(source.beside for source in SOURCES if source.beside is not None),
        **{s.key: (s | None, Field(default=None, description=s.purpose)) for s in SOURCES if s.key},
    )


class CounterTable(_Counting):
    """The counter and the inputs in front of it."""

    called: ClassVar[tuple[str, ...]] = ("clock", "timer", "controller", "plc")
    synonyms: ClassVar[Mapping[str, str]] = {
        **{word: key for source in SOURCES if source.beside for word, key in source.beside.synonyms.items()},
        "bits": "width",
        "scan_time": "timing",
        "cycle_time": "timing",
    }
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
            said = " and ".join(source.word for source in stated) or "nothing to count"
            ways = " or ".join(source.called_for.format(key=key) for source in SOURCES)
            raise Misfit(key, said, f"either {ways}")
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
