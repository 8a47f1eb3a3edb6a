"""From the moments at which the blocked share crosses the thresholds to the sensor's output."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar, column
from gatesim.ground.draw import Draw
from gatesim.ground.quantity import accepts
from gatesim.ground.transition import ordered, trimmed, without_reversals
from gatesim.sensor.chatter import Chatter

JITTER = "sensor.edge_jitter"
"""Name of its draws, before the gate's number: not that of the key, whose value may be drawn itself."""


@dataclass(frozen=True)
@accepts(dark_delay="s", light_delay="s", jitter="s", sampling_period="s", time_constant="s")
class Response:
    """How the output follows the light.

    ``dark_delay``, ``light_delay``: response time on going dark and light (s), for an output
    that is on in the dark the turn-on and turn-off time of IEC 60947-5-2 (terms from memory);
    they differ, which is an error in time. ``jitter``: standard deviation of each switching (s, normal).
    ``sampling_period`` (s) of a pulsed-light sensor that needs ``samples_in_row`` equal
    samples, 0 for continuous light: its switching is late by a time uniform over one period.
    ``time_constant`` (s) of a first-order receiver before the comparator.
    """

    dark_delay: Scalar = 0.0
    light_delay: Scalar = 0.0
    jitter: Scalar = 0.0
    sampling_period: Scalar = 0.0
    samples_in_row: int = 1
    time_constant: Scalar = 0.0
    chatter: Chatter | None = None


def respond(response: Response, times: Array, draw: Draw, gate: int) -> Array:
    """Output transitions of one gate, (n, m), from crossings of the thresholds (n, e) in s.

    Both as in `gatesim.ground.transition`. Edges that overtake each other annihilate: the output
    of a real sensor does not go back in time.
    """
    out = times
    if np.any(response.sampling_period):
        out = _sampled(response, out, draw, gate)
    dark, light = (column(d) for d in (response.dark_delay, response.light_delay))
    late: Array = np.empty(out.shape[::-1]).T  # columns as they lie in memory: each is worked on by itself
    late[:, 0::2], late[:, 1::2] = dark, light
    late += out
    out = late
    if np.any(response.jitter):
        out += column(response.jitter) * draw.normal(f"{JITTER}@{gate}", out.shape[1])
    out = without_reversals(out)
    return trimmed(out) if response.chatter is None else response.chatter.added(out, draw, gate)


def _sampled(response: Response, times: Array, draw: Draw, gate: int) -> Array:
    """Switch on the last of so many equal samples in a row; shorter pulses and gaps are not seen."""
    period = column(response.sampling_period)
    phase = draw.uniform(f"sensor.sampling_phase@{gate}")[:, None]
    sample = np.ceil(times / period - phase)
    wanted = response.samples_in_row
    seen = _held(sample, wanted)
    return ordered((seen + wanted - 1 + phase) * period)


def _held(sample: Array, wanted: int) -> Array:
    """Sample indices of edges whose new level holds for ``wanted`` samples, in the order of columns."""
    kept = np.full(sample.shape, np.inf)
    dark = np.zeros(len(sample), bool)
    for edge in range(sample.shape[1]):
        now, to_dark = sample[:, edge], edge % 2 == 0
        following = sample[:, edge + 1] if edge + 1 < sample.shape[1] else np.full(len(sample), np.inf)
        takes = np.isfinite(now) & (following >= now + wanted) & (dark != to_dark)
        kept[takes, edge] = now[takes]
        dark[takes] = to_dark
    return kept
