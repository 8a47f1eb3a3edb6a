"""How the edges of the filtered inputs get to the counter."""

from gatesim.counter.timing.base import Timing, TimingTable
from gatesim.counter.timing.hardware import Hardware, HardwareTable
from gatesim.counter.timing.interrupt import Interrupt, InterruptTable
from gatesim.counter.timing.polled import Polled, PolledTable
from gatesim.ground.family import Family

TIMINGS = Family(
    "kind",
    (
        HardwareTable,
        PolledTable,
        InterruptTable,
    ),
)
"""All that a scenario may have, a line each."""

AT_ONCE = HardwareTable(kind="hardware")
"""What a counter has of which the scenario says nothing: it acts on an edge when it comes."""

__all__ = ["AT_ONCE", "TIMINGS", "Hardware", "Interrupt", "Polled", "Timing", "TimingTable"]
