"""The ticks of a free-running clock."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.counter.source.base import Imperfection, Source, SourceTable, Travel
from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts, stated
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Table, TableValues

FASTER = 10.0


@dataclass(frozen=True)
@accepts(frequency="Hz", error="", drift="1/s")
class Clock(Source):
    """A free-running clock: ``frequency`` (Hz), its relative ``error``, the ``drift`` of that (1/s).

    Over T it makes f ((1 + error) T + drift T^2 / 2) ticks.

    An interval T holds floor(f T + phase) ticks, phase uniform on (0, 1): n or n + 1 of them
    for f T = n + fraction, with probabilities 1 - fraction and fraction. Mean exact, variance
    fraction (1 - fraction) in ticks squared, 1/6 averaged over the fraction (J. Kalisz,
    Metrologia 41 (2004) 17; citation from memory). The often-quoted "plus or minus one count"
    bounds a single interval; it is neither a standard uncertainty (that is at most 1/2 count)
    nor the bound of a difference or ratio of two counts.
    """

    frequency: Scalar
    error: Scalar = 0.0
    drift: Scalar = 0.0
    counts_per_pulse: ClassVar[int] = 1

    def phase(self, draw: Draw) -> Array:
        """See `Source.phase`."""
        phase = draw.uniform("counter.phase")
        return np.stack([phase, np.zeros_like(phase)]).T

    def progress(self, start: Array, times: Array, phase: Array) -> Array:
        """See `Source.progress`; drift counts from the start of the cycle."""
        elapsed = times - start[:, None]
        ticks = column(self.frequency * (1.0 + np.asarray(self.error))) * elapsed
        if np.any(self.drift):
            ticks += column(self.frequency * np.asarray(self.drift)) * 0.5 * elapsed**2
        return ticks

    def whole(self, progress: Array, phase: Array) -> Array:
        """See `Source.whole`."""
        return np.floor(progress + phase[:, :1])


class ClockKeys(Table):
    """The keys of ``[counter]`` that are the clock's."""

    synonyms: ClassVar[Mapping[str, str]] = {
        "clock": "frequency",
        "clock_frequency": "frequency",
        "rate": "frequency",
    }

    frequency: keys.Frequency | None = Field(
        default=None, description="Clock frequency; left out where something else is counted."
    )
    frequency_error: keys.Relative = Field(
        default=stated("0 ppm"), description="Relative deviation of the clock."
    )
    drift: keys.DriftRate = Field(
        default=stated("0 ppm/s", "1/s"), description="Linear drift of that deviation in time."
    )


class ClockTable(ClockKeys, SourceTable):
    """A clock, whose keys stand in ``[counter]`` itself."""

    key: ClassVar[str] = ""
    beside: ClassVar[type[Table] | None] = ClockKeys
    purpose: ClassVar[str] = ""
    called_for: ClassVar[str] = 'a frequency such as "100 kHz"'
    word: ClassVar[str] = "a clock"
    measures: ClassVar[Literal["time", "travel"]] = "time"

    frequency: keys.Frequency

    @classmethod
    def stated(cls, counter: Any) -> "ClockTable | None":
        """See `SourceTable.stated`."""
        if counter.frequency is None:
            return None
        return cls.model_construct(**{key: getattr(counter, key) for key in ClockKeys.model_fields})

    def build(self, counter: TableValues, travel: Travel) -> Clock:
        """See `SourceTable.build`."""
        return Clock(counter["frequency"], counter["frequency_error"], counter["drift"])

    @property
    def turned_by(self) -> Literal[""]:
        """See `SourceTable.turned_by`."""
        return ""

    @property
    def passes_filter(self) -> bool:
        """See `SourceTable.passes_filter`."""
        return False

    @property
    def tick(self) -> float:
        """See `SourceTable.tick`."""
        return 1.0 / self.frequency.nominal

    @property
    def pitch(self) -> float:
        """See `SourceTable.pitch`."""
        return math.nan

    @property
    def counts(self) -> str:
        """See `SourceTable.counts`."""
        return "clock ticks"

    @property
    def pulses(self) -> str:
        """See `SourceTable.pulses`."""
        return "The clock's ticks"

    @property
    def step(self) -> str:
        """See `SourceTable.step`."""
        return f"{1e6 / self.frequency.nominal:.3g} µs"

    @property
    def setting(self) -> str:
        """See `SourceTable.setting`."""
        return f"clock of {self.frequency.text}"

    @property
    def imperfections(self) -> tuple[Imperfection, ...]:
        """See `SourceTable.imperfections`."""
        reason = (
            f"The clock is off by {self.frequency_error.text}, which matters to a formula "
            "that needs times and not only their ratio."
        )
        inputs = (("counter.frequency_error", 0.0), ("counter.drift", 0.0))
        return (Imperfection("clock", "clock error", inputs, reason),)

    def steps(self, progress: Array) -> Array:
        """See `SourceTable.steps`."""
        return np.asarray(np.mod(-progress, 1.0))

    def improved(self) -> Suggestion:
        """See `SourceTable.improved`."""
        new = FASTER * self.frequency.nominal
        how = f"{new / 1e3:.6g} kHz instead of {self.frequency.text}"
        changes = {"counter.frequency": f"{new:.6g} Hz", "counter.width": 32}
        return Suggestion("clock ten times as fast", how, changes, ("counter.input_frequency_limit",))
