"""One passage followed in time."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np

from gatesim.api.edges import edges
from gatesim.api.given import Given
from gatesim.api.result import PicturedLengths, at_work
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.ground.files import target
from gatesim.ground.valuechange import written
from gatesim.prediction import trace as followed
from gatesim.scenario import Scenario

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Trace(PicturedLengths, followed.Trace):
    """What every stage saw, and when; ``measured``: edges (k,) s of a real sensor by gate, laid over it."""

    measured: Mapping[int, Array] = field(default_factory=dict)

    UNITS: ClassVar = {"end": "s", "part_length": "m"}
    KEYS: ClassVar = {**followed.Trace.KEYS, "measured": None}

    def text(self, unit: str | None = None) -> str:
        """Transitions of every gate and the latched moments."""
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.tracetext import trace_text

        return "\n".join([trace_text(self, unit_of(unit)), *self._beside()])

    def _beside(self) -> Iterator[str]:
        """Measured against simulated, a line a gate."""
        if self.measured:
            yield "\nmeasured, its first edge at the lowest gate laid over the simulated one:"
        for gate in self.gates:
            edges = self.measured.get(gate.gate)
            if edges is not None and gate.sensed.size:
                late = (1e3 * float(edges[end] - gate.sensed[end]) for end in (0, -1))
                front, rear = (round(ms, 4) + 0.0 for ms in late)  # no zero with a minus
                yield (
                    f"  gate {gate.gate}: dark {front:+.4f} ms, light {rear:+.4f} ms against the simulated "
                    f"sensor; {edges.size} edges, simulated {gate.sensed.size}"
                )

    def plot(self, ax: "Axes | None" = None, unit: str | None = None) -> "Axes":
        """The timing diagram; ``ax`` gives its place in a figure of one's own.

        Returns the Axes at the top left; the figure has two for each gate and for the count.
        """
        from gatesim.view.lengthunit import unit_of
        from gatesim.view.timing import timing_diagram, timing_grid

        grid = None if ax is None else timing_grid(len(self.gates), ax)
        axes = timing_diagram(self, grid, self.measured, unit_of(unit))
        top: Axes = axes[0, 0]
        return top

    def save(self, path: Path | str) -> None:
        """Write sensor and input of every gate as a value change dump, to 1 ns. Raises InputError."""
        signals = {f"gate{gate.gate}_sensor": gate.sensed for gate in self.gates}
        signals |= {f"gate{gate.gate}_input": gate.filtered for gate in self.gates}
        target(Path(path), "waveforms", endings=(".vcd",)).write(written(signals, self.end))


@at_work("tracing")
def trace(
    scenario: Scenario,
    *,
    measured: Path | str | None = None,
    gate: Mapping[int, str] | Sequence[str] = (),
    dark: Literal["high", "low"] = "high",
    quiet: Given = 0.1,
) -> Trace:
    """Follow one nominal passage through light, sensor, input filter and counter.

    ``measured``: file of real edges, whose first passage is laid over the simulated one; the further
    keywords as of `gatesim.edges`. Raises InputError.
    """
    found = followed.trace(scenario)
    if measured is None:
        return Trace.of(found)
    passage = edges(measured, gate=gate, dark=dark, quiet=quiet).passages[0]
    simulated = {g.gate: g.sensed for g in found.gates if g.sensed.size}
    both = sorted(set(passage) & set(simulated))
    if not both:
        raise InputError(f"{measured}: none of its gates is passed in the simulation, expected one that is")
    shift = float(simulated[both[0]][0]) - passage[both[0]].front
    laid = {number: np.array(seen.edges) + shift for number, seen in passage.items()}
    return Trace.of(found, measured=laid)
