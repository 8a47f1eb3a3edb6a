"""One passage followed in time: what every stage saw, and when."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.chain import pipeline
from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.chain.timetable import timetable
from gatesim.counter import Counted, count
from gatesim.formula import FORMULAS
from gatesim.ground.arrays import Array, first_of
from gatesim.ground.data import Keys
from gatesim.ground.draw import Draw, Nominal
from gatesim.ground.outcome import Outcome
from gatesim.motion import passage
from gatesim.prediction.devices import Device, devices, listed
from gatesim.scenario.model import Scenario
from gatesim.sensor import blocked_over_travel

POINTS = 400
"""Steps from moment to moment of `Trace.time`."""

LATCHES = {
    "start": "gate 1 dark: counting starts",
    "dwell": "gate 1 light: dwell latched",
    "capture": "gate 2 dark: capture latched",
    "rear_capture": "gate 2 light: rear capture latched",
    "third_capture": "gate 3 dark: third capture latched",
    "rearm": "re-armed",
}


Cover = tuple[Array, Array]
"""When (k,), in s, or where, in m, a part alone covers which share (k,) of a gate's beam.

NaN where it never comes there.
"""


@dataclass(frozen=True)
class GateTrace:
    """One gate: ``time`` (k,) s and ``blocked`` (k,) share of its beam, straight lines between.

    Transition lists (m,) in s, alternately to dark and to light: ``light`` of the
    comparator, ``sensed`` of the sensor's output, ``filtered`` of the input, ``acted`` as
    the counter takes them.
    """

    gate: int
    position: float
    time: Array
    blocked: Array
    light: Array
    sensed: Array
    filtered: Array
    acted: Array

    KEYS: ClassVar[Keys] = {
        "gate": "gate",
        "position": "position_m",
        "time": "time_s",
        "blocked": "blocked",
        "light": "light_s",
        "sensed": "sensed_s",
        "filtered": "filtered_s",
        "acted": "acted_s",
    }

    def blocked_at(self, t: Array) -> Array:
        """Share of the beam blocked at times t (k,)."""
        if not self.time.size:
            return np.zeros(np.shape(t))
        share: Array = np.interp(t, self.time, self.blocked, left=0.0, right=0.0)
        return share


@dataclass(frozen=True)
class Moment:
    """A named moment: ``register`` latches ``count`` at ``time`` (s) in a cycle (0 is the first).

    ``count`` is None where the moment latches none.
    """

    register: str
    name: str
    cycle: int
    time: float
    count: int | None

    KEYS: ClassVar[Keys] = {
        "register": "register",
        "name": "name",
        "cycle": "cycle",
        "time": "time_s",
        "count": "count",
    }


@dataclass(frozen=True)
class Position:
    """Travel (k,) of a part's leading end in m at the moments of `Trace.time`; NaN where not known."""

    released: float
    position: Array

    KEYS: ClassVar[Keys] = {"released": "released_s", "position": "position_m"}


@dataclass(frozen=True)
class Trace:
    """One passage, SI. ``end`` (s) closes the time axis, which begins at the release.

    ``counts`` says what is counted. ``parts`` are the times at which a part is released:
    0, and those of its followers.
    """

    scenario: str
    file: str
    outcome: str
    explanation: str
    end: float
    part_length: float
    parts: tuple[float, ...]
    gates: tuple[GateTrace, ...]
    moments: tuple[Moment, ...]
    counts: str
    devices: tuple[Device, ...]
    passed: pipeline.Measured
    counted: Counted

    KEYS: ClassVar[Keys] = {
        "scenario": "scenario",
        "file": "file",
        "outcome": "outcome",
        "explanation": "explanation",
        "end": "end_s",
        "part_length": "part_length_m",
        "positions": "parts",
        "time": "time_s",
        "count": "count",
        "counts": "counts",
        "gates": "gates",
        "moments": "moments",
        "along": "",
        "devices": None,
        "parts": None,
        "passed": None,
        "counted": None,
    }

    def position_at(self, t: Array, part: int = 0) -> Array:
        """Travel of the leading end of a part (m) at times t (k,); 0 before its release.

        NaN past the last gate, and after the part has turned back.
        """
        x: Array = self.passed.motion.travel_at((np.asarray(t, float) - self.parts[part])[None, :])[0]
        return x

    def count_at(self, t: Array) -> Array:
        """What the count register holds at times t (k,): whole numbers, 0 while no cycle runs."""
        held: Array = self.counted.register_at(np.asarray(t, float)[None, :])[0]
        return held

    @property
    def time(self) -> Array:
        """Evenly spaced moments (k,) in s, at which `positions` and `count` are."""
        return np.linspace(0.0, self.end, POINTS + 1)

    @property
    def positions(self) -> tuple[Position, ...]:
        """Where each part is."""
        return tuple(Position(t0, self.position_at(self.time, k)) for k, t0 in enumerate(self.parts))

    @property
    def along(self) -> dict[str, dict[str, Any]]:
        """Figures of each device along the path and where it acts, by its key."""
        return listed(self.devices)

    @property
    def count(self) -> NDArray[np.int64]:
        """What the count register holds, (k,)."""
        return self.count_at(self.time).astype(np.int64)


def trace(
    scenario: Scenario,
    draw: Draw | None = None,
    passed: pipeline.Measured | None = None,
    move: pipeline.Move = passage,
    covers: Sequence[Cover] | None = None,
    along: tuple[Device, ...] | None = None,
) -> Trace:
    """Follow one passage: the nominal one, or the one trial of ``draw``.

    ``passed``: what `pipeline.run` gave of that passage, where it is known already. ``move`` as it has it.
    ``covers`` (in s) and ``along``: what `covers_of` and `gatesim.prediction.devices.devices` say of it.
    """
    draw = draw or Nominal(1)
    passed = pipeline.run(scenario, draw, move=move) if passed is None else passed
    parts = tuple(first_of(release) for release in passed.rig.releases)
    charge = FORMULAS[next(iter(passed.rig.constants))]
    counted = count(passed.counter, list(passed.filtered), draw, len(parts), charge.registers)
    if covers is None:
        at = covered_at(passed)
        covers = covers_of(at, timetable(passed.rig, np.concatenate([x for x, _ in at])).time)
    gates = _gates(passed, counted, parts, covers)
    moments = _moments(counted)
    return Trace(
        scenario=scenario.title or scenario.file,
        file=scenario.file,
        outcome=Outcome(int(passed.outcome[0])).word,
        explanation=explain_outcome(scenario, passed),
        end=_end(passed, gates, moments),
        part_length=float(passed.true_length[0]),
        parts=parts,
        gates=gates,
        moments=moments,
        counts=scenario.counter.source.counts,
        devices=devices(scenario, passed, move) if along is None else along,
        passed=passed,
        counted=counted,
    )


def _finite(row: Array) -> Array:
    return row[np.isfinite(row)]


def covered_at(passed: pipeline.Measured) -> tuple[Cover, ...]:
    """Of each gate positions (k,) of the leading end in m, and the share (k,) of the beam covered there."""
    rig = passed.rig
    covers = [blocked_over_travel(rig.part, s.beam, first_of(s.angle)) for s in rig.sensors]
    return tuple((first_of(gate) + x, share) for gate, (x, share) in zip(rig.gates, covers, strict=True))


def covers_of(at: Sequence[Cover], times: Array) -> tuple[Cover, ...]:
    """`covered_at` with the ``times`` (n,) at which the part is at all of its positions in their place."""
    pieces = np.split(times, np.cumsum([len(positions) for positions, _ in at])[:-1])
    return tuple((time, share) for time, (_, share) in zip(pieces, at, strict=True))


def _gates(
    passed: pipeline.Measured, counted: Counted, parts: Sequence[float], covers: Sequence[Cover]
) -> tuple[GateTrace, ...]:
    return tuple(_gate(passed, counted, parts, gate, *cover) for gate, cover in enumerate(covers))


def _gate(
    passed: pipeline.Measured, counted: Counted, parts: Sequence[float], gate: int, time: Array, share: Array
) -> GateTrace:
    """``share`` of the beam is covered at ``time``, NaN where the part never comes so far."""
    reached = np.isfinite(time)
    time, share = time[reached], share[reached]
    # a part stands in the beam's light for the time that it needs; the next one adds its own
    every = np.unique(np.concatenate([time + released for released in parts])) if time.size else time
    blocked = np.zeros(every.shape)
    for released in parts if time.size else ():
        blocked += np.interp(every - released, time, share, left=0.0, right=share[-1])
    lists = (times[gate][0] for times in (passed.light, passed.sensed, passed.filtered, counted.gates))
    return GateTrace(
        gate + 1,
        first_of(passed.rig.gates[gate]),
        every,
        np.minimum(blocked, 1.0),
        *(_finite(row) for row in lists),
    )


def _moments(counted: Counted) -> tuple[Moment, ...]:
    found = []
    for cycle in range(counted.outcome.shape[1]):
        for key, name in LATCHES.items():
            time = float(getattr(counted.cycles, key)[0, cycle])
            if time == time:
                latched = counted.registers.get(key)
                value = np.nan if latched is None else latched[0, cycle]
                found.append(Moment(key, name, cycle, time, None if value != value else int(value)))
    return tuple(sorted(found, key=lambda moment: moment.time))


def _end(passed: pipeline.Measured, gates: Sequence[GateTrace], moments: Sequence[Moment]) -> float:
    """A little after the last thing that happens."""
    last = [moment.time for moment in moments]
    for gate in gates:
        last += [float(times[-1]) for times in (gate.time, gate.sensed, gate.filtered) if times.size]
    motion = passed.motion
    if not last:
        last = [float(t) for t in (*motion.node_time[0], motion.stop_time[0]) if t == t]
    return 1.04 * max(last, default=1.0) or 1.0
