"""Gate and capture act in hardware."""

from dataclasses import dataclass
from typing import Literal

from gatesim.counter.timing.base import Timing, TimingTable
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Draw
from gatesim.ground.sampling import Continuous
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import TableValues


@dataclass(frozen=True)
class Hardware(Timing):
    """Gate and capture act in hardware: at the edge."""

    def act_on(self, times: Array, draw: Draw, gate: int) -> Array:
        """See `Timing.act_on`."""
        return times


class HardwareTable(Continuous, TimingTable):
    """Gate and capture act in hardware."""

    kind: Literal["hardware"]

    def build(self, values: TableValues) -> Hardware:
        """See `TimingTable.build`."""
        return Hardware()

    @property
    def setting(self) -> str:
        """See `TimingTable.setting`."""
        return "in hardware"

    @property
    def effect(self) -> str:
        """See `TimingTable.effect`."""
        return ""

    @property
    def place(self) -> str:
        """See `TimingTable.place`."""
        return "the count input"

    @property
    def when_missed(self) -> str:
        """See `TimingTable.when_missed`."""
        return "and the count input never sees the part"

    @property
    def against_loss(self) -> str:
        """See `TimingTable.against_loss`."""
        return "the count input itself loses edges: look at the rig with predict"

    def reason(self, speed: float) -> str:
        """See `TimingTable.reason`."""
        return ""

    def side_note(self, speed: float) -> str:
        """See `TimingTable.side_note`."""
        return ""

    @classmethod
    def suggested(cls, instead_of: str) -> Suggestion:
        """See `TimingTable.suggested`."""
        how = f"a counter input that gates and captures by itself, instead of {instead_of}"
        changes = {"counter.timing": {"kind": "hardware"}}
        return Suggestion("gate and capture in hardware", how, changes)
