"""One passage in order of time, as text for the terminal."""

from textwrap import fill

from tabulate import tabulate

from gatesim.ground.arrays import Array
from gatesim.prediction.trace import Trace
from gatesim.view.lengthunit import MM, LengthUnit

WIDTH = 100
MOST_EVENTS = 6


def _times(times: Array) -> str:
    shown = ", ".join(f"{1e3 * time:.3f}" for time in times[:MOST_EVENTS])
    more = times.size - MOST_EVENTS
    return f"{shown} and {more} more" if more > 0 else shown or "none"


def trace_text(trace: Trace, unit: LengthUnit = MM) -> str:
    """Transitions of every gate (ms, alternately to dark and to light) and the latched moments."""
    lanes = [
        [str(gate.gate), name, _times(times)]
        for gate in trace.gates
        for name, times in (
            ("light", gate.light), ("sensor", gate.sensed), ("input", gate.filtered), ("as read", gate.acted),
        )
    ]  # fmt: skip
    moments = [
        [f"{1e3 * moment.time:.3f}", moment.name, "" if moment.count is None else str(moment.count)]
        for moment in trace.moments
    ]
    return "\n".join(
        [
            f"{trace.scenario}  ({trace.file})",
            f"outcome: {trace.outcome}",
            fill(unit.said(trace.explanation), WIDTH),
            *(fill(unit.said(device.words), WIDTH) for device in trace.devices),
            "",
            tabulate(lanes, ["gate", "signal", "dark, light, ... at ms"], disable_numparse=True),
            "",
            tabulate(moments, ["ms", "moment", trace.counts], disable_numparse=True,
                     colalign=("right", "left", "right")) if moments else "nothing is latched",
        ]
    )  # fmt: skip
