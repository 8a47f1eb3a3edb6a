"""Counter: clock or encoder, gate, capture and re-arm."""

from gatesim.counter.counter import Counted, Counter, count
from gatesim.counter.cycle import Cycles, run_cycles
from gatesim.counter.source import Clock, Encoder, Source
from gatesim.counter.timing import AT_ONCE, TIMINGS, Hardware, Interrupt, Polled, Timing

__all__ = [
    "AT_ONCE",
    "TIMINGS",
    "Clock",
    "Counted",
    "Counter",
    "Cycles",
    "Encoder",
    "Hardware",
    "Interrupt",
    "Polled",
    "Source",
    "Timing",
    "count",
    "run_cycles",
]
