"""What is counted: the ticks of a clock, or the pulses of an encoder on a roller."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import ClassVar, Protocol

import numpy as np

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts

Travel = Callable[[Array], Array]
"""Distance in m that a belt or part has moved at times (n, k)."""


class Source(Protocol):
    """Counts since the start of a cycle."""

    @property
    def counts_per_pulse(self) -> int:
        """Counts that one pulse at the input makes."""
        ...

    def phase(self, draw: Draw) -> Array:
        """Draw what the source starts with, (n, 2): position between two counts, angle of the roller."""
        ...

    def progress(self, start: Array, times: Array, phase: Array) -> Array:
        """Counts, not rounded, from ``start`` (n,) to ``times`` (n, k)."""
        ...

    def whole(self, progress: Array, phase: Array) -> Array:
        """Counts that a register holds after so much progress, (n, k)."""
        ...


@dataclass(frozen=True)
@accepts(frequency="Hz", error="", drift="1/s")
class Clock:
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
        return np.stack([phase, np.zeros_like(phase)], axis=1)

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


@dataclass(frozen=True)
@accepts(diameter="m", slip="", runout="m", channel_error="rad")
class Encoder:
    """An encoder on a measuring roller.

    ``pulses`` lines a turn counted ``edge_factor`` (1, 2, 4) times; roller ``diameter`` (m);
    ``slip`` share of the travel missed; ``runout`` eccentricity (m), which modulates the
    travel once a turn by runout * sin(angle); ``channel_error`` (rad) of the second channel
    from 90 degrees, which makes every other edge early or late. ``travel`` (m) at times.
    The direction of counting follows that of the roller: what turns back is counted down.
    Edge factors are common practice, no source.
    """

    pulses: int
    edge_factor: int
    diameter: Scalar
    slip: Scalar
    runout: Scalar
    channel_error: Scalar
    travel: Travel

    @property
    def counts_per_pulse(self) -> int:
        """See `Source.counts_per_pulse`."""
        return self.edge_factor

    def phase(self, draw: Draw) -> Array:
        """See `Source.phase`."""
        return np.stack([draw.uniform("counter.phase"), draw.uniform("counter.roller_angle")], axis=1)

    def progress(self, start: Array, times: Array, phase: Array) -> Array:
        """See `Source.progress`. The second column of ``phase`` is the roller's angle in turns."""
        finite = np.where(np.isfinite(times), times, start[:, None])
        begun = self.travel(start[:, None])
        moved = (self.travel(finite) - begun) * (1.0 - column(self.slip))
        diameter = column(self.diameter)
        angle = 2.0 * np.pi * phase[:, 1:2]
        turned = 2.0 * moved / diameter
        wobble = column(self.runout) * (np.sin(angle + turned) - np.sin(angle))
        edges = self.pulses * self.edge_factor
        counts: Array = (moved + wobble) * edges / (np.pi * diameter)
        return np.where(np.isfinite(times), counts, np.nan)

    def whole(self, progress: Array, phase: Array) -> Array:
        """See `Source.whole`; with an edge factor of 4, every other edge is the second channel's."""
        shift = np.zeros(1) if self.edge_factor < 4 else np.asarray(self.channel_error) * 2.0 / np.pi
        shift = column(shift)
        # the roller stands anywhere between two edges, of which either may be the first channel's;
        # at the median phase in the middle between them
        origin = 0.5 + 2.0 * phase[:, :1]
        return _edges_passed(origin + progress, shift) - _edges_passed(origin, shift)


def _edges_passed(position: Array, shift: Array) -> Array:
    """Edges up to ``position`` in counts, where odd ones lie ``shift`` counts late."""
    below = np.floor(position)
    rest = position - below
    odd = below % 2.0 == 1.0
    not_yet = odd & (rest < shift)
    already = ~odd & (rest >= 1.0 + shift)
    edges: Array = below - not_yet + already
    return edges
