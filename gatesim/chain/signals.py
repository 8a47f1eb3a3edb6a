"""From the motion to what the counter is told: light at the gates, sensors, input filter."""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from gatesim.chain.alike import content, digest
from gatesim.counter import Latched, Timing, latch
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.transition import alternating, merged
from gatesim.inputfilter import Filter
from gatesim.motion import Passage
from gatesim.sensor import Sensor, Switching, receiver_delay, respond


@dataclass(frozen=True)
class Signals:
    """Transition lists a gate, (n, k) each: light of one part, light of all, before and behind the filter."""

    alone: tuple[Array, ...]
    light: tuple[Array, ...]
    sensed: tuple[Array, ...]
    filtered: tuple[Array, ...]
    known: dict[bytes, Latched] = field(default_factory=dict, compare=False)

    def latched(self, timing: Timing, draw: Draw) -> Latched:
        """What a counter with that timing latches; ``draw`` is the one they were made with."""
        key = digest(content(timing))
        if key not in self.known:
            self.known[key] = latch(timing, self.filtered, draw)
        return self.known[key]


def signals(
    sensors: Sequence[Sensor], passing: Filter, light: Sequence[Array], draw: Draw
) -> tuple[tuple[Array, ...], tuple[Array, ...]]:
    """Transition lists a gate, (n, k) each, behind the sensors and behind the input filter."""
    sensed = tuple(
        respond(s.response, t, draw, g) for g, (s, t) in enumerate(zip(sensors, light, strict=True), 1)
    )
    return sensed, tuple(
        passing.pass_on(times, draw, f"filter@{gate}") for gate, times in enumerate(sensed, 1)
    )


def light_at(sensor: Sensor, at: Switching, motion: Passage, columns: slice) -> Array:
    """Transition list of the comparator, (n, e): crossings of the thresholds after the receiver."""
    times = motion.time[:, columns]
    if np.any(sensor.response.time_constant):
        times = times + _receiver(sensor, at, motion.speed[:, columns])
    return alternating(times)


def _receiver(sensor: Sensor, at: Switching, speed: Array) -> Array:
    """Delay of the receiver at every edge, (n, e)."""
    run = np.broadcast_to(at.run, speed.shape)
    tau = np.broadcast_to(np.asarray(sensor.response.time_constant, float), speed.shape[:1])
    share = {True: sensor.dark_fraction, False: sensor.light_fraction}
    delay = np.zeros(speed.shape)
    for number, stretch in enumerate(at.runs):
        for edge in range(speed.shape[1]):
            here = (run[:, edge] == number) & np.isfinite(speed[:, edge])
            if not here.any():
                continue
            trial = slice(None) if here.all() else np.flatnonzero(here)
            shares = np.broadcast_to(np.asarray(share[stretch.rising], float), speed.shape[:1])[trial]
            delay[trial, edge] = receiver_delay(stretch, shares, speed[trial, edge], tau[trial])
    return delay


def with_followers(releases: tuple[Scalar, ...], times: Array) -> Array:
    """The gate's light with the parts that follow: each repeats the first one's motion later."""
    if len(releases) == 1:
        return times
    return merged([times + np.asarray(release, float).reshape(-1, 1) for release in releases])
