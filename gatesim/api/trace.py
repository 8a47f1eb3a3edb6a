"""One passage followed in time."""

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from gatesim.api.result import Pictured, at_work
from gatesim.ground.files import target
from gatesim.ground.valuechange import written
from gatesim.prediction import trace as followed
from gatesim.scenario import Scenario

if TYPE_CHECKING:
    from matplotlib.axes import Axes


@dataclass(frozen=True, repr=False)
class Trace(Pictured, followed.Trace):
    """What every stage saw, and when."""

    UNITS: ClassVar = {"end": "s", "part_length": "m"}

    def __str__(self) -> str:
        from gatesim.view.tracetext import trace_text

        return trace_text(self)

    def plot(self, ax: "Axes | None" = None) -> "Axes":
        """The timing diagram; ``ax`` gives its place in a figure of one's own.

        Returns the Axes at the top left; the figure has two for each gate and for the count.
        """
        from gatesim.view.timing import timing_diagram, timing_grid

        axes = timing_diagram(self, None if ax is None else timing_grid(len(self.gates), ax))
        top: Axes = axes[0, 0]
        return top

    def save(self, path: Path | str) -> None:
        """Write sensor and input of every gate as a value change dump, to 1 ns. Raises InputError."""
        signals = {f"gate{gate.gate}_sensor": gate.sensed for gate in self.gates}
        signals |= {f"gate{gate.gate}_input": gate.filtered for gate in self.gates}
        target(Path(path), "waveforms", endings=(".vcd",)).write(written(signals, self.end))


@at_work("tracing")
def trace(scenario: Scenario) -> Trace:
    """Follow one nominal passage through light, sensor, input filter and counter."""
    return Trace.of(followed.trace(scenario))
