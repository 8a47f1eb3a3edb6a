"""The input follows the sensor at once."""

from dataclasses import dataclass
from typing import Literal

from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw
from gatesim.ground.sampling import Continuous
from gatesim.ground.table import TableValues
from gatesim.inputfilter.base import Filter, FilterTable


@dataclass(frozen=True)
class NoFilter(Filter):
    """The input follows the sensor at once."""

    @property
    def minimum_pulse_width(self) -> float:
        """See `Filter.minimum_pulse_width`."""
        return 0.0

    @property
    def stretches_to(self) -> float:
        """See `Filter.stretches_to`."""
        return 0.0

    def pass_on(self, times: Array, draw: Draw, name: str) -> Array:
        """See `Filter.pass_on`."""
        return times


class NoFilterTable(Continuous, FilterTable):
    """The input follows the sensor at once."""

    kind: Literal["none"]

    def build(self, values: TableValues) -> NoFilter:
        """See `FilterTable.build`."""
        return NoFilter()

    @property
    def setting(self) -> str:
        """See `FilterTable.setting`."""
        return "none"

    @property
    def against_chatter(self) -> str:
        """See `FilterTable.against_chatter`."""
        return "lets them through"

    @property
    def when_stretched(self) -> str:
        """See `FilterTable.when_stretched`; it stretches nothing."""
        return ""
