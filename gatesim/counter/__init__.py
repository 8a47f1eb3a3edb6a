"""Counter: clock or encoder, gate, capture and re-arm."""

from gatesim.counter.counter import Counted, Counter, Latched, acted_on, count, latch
from gatesim.counter.cycle import Cycles, run_cycles
from gatesim.counter.source import SOURCES, Clock, Encoder, Source, SourceTable
from gatesim.counter.table import CounterTable
from gatesim.counter.timing import AT_ONCE, TIMINGS, Hardware, Interrupt, Polled, Timing, TimingTable

__all__ = [
    "AT_ONCE",
    "SOURCES",
    "TIMINGS",
    "Clock",
    "Counted",
    "Counter",
    "CounterTable",
    "Cycles",
    "Encoder",
    "Hardware",
    "Interrupt",
    "Latched",
    "Polled",
    "Source",
    "SourceTable",
    "Timing",
    "TimingTable",
    "acted_on",
    "count",
    "latch",
    "run_cycles",
]
