"""What is counted: the ticks of a clock, or the pulses of an encoder on a roller."""

from gatesim.counter.source.base import Imperfection, Source, SourceTable, Travel
from gatesim.counter.source.clock import Clock, ClockTable
from gatesim.counter.source.encoder import Encoder, EncoderTable
from gatesim.ground.family import check_complete

SOURCES: tuple[type[SourceTable], ...] = (
    ClockTable,
    EncoderTable,
)
"""All that a scenario may have, a line each."""

for member in SOURCES:
    check_complete(member)

__all__ = [
    "SOURCES",
    "Clock",
    "Encoder",
    "Imperfection",
    "Source",
    "SourceTable",
    "Travel",
]
