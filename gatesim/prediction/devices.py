"""What the forces along a path amount to, in figures and in words."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from gatesim.chain.controller import Controller
from gatesim.chain.pipeline import Measured, Move, motion_query
from gatesim.chain.remembered import Remembered
from gatesim.chain.sidebyside import Question
from gatesim.ground.arrays import Array, first_of
from gatesim.ground.data import Keys, data_of
from gatesim.ground.draw import Nominal
from gatesim.ground.text import mm, short
from gatesim.motion import Force, Hold, passage
from gatesim.scenario.model import Scenario

SLIGHT = 0.02
"""Share of a force's full strength that is not worth telling."""


@dataclass(frozen=True)
class AtGate:
    """What acts as the part's leading end, and its trailing end, passes a gate.

    Shares are of the force's full strength (its dependence on speed apart); forces in N, positive
    downhill, None where the part does not get there. ``clear``: ranges of the gate's distance from the
    release (m, None: no end) within which the strength would not change while the part passes, with
    nothing in it if it does not change now.
    """

    gate: int
    position_m: float
    front_share: float
    rear_share: float
    front_force_N: float | None
    rear_force_N: float | None
    clear_m: tuple[tuple[float, float | None], ...]
    words: str


@dataclass(frozen=True)
class Stay:
    """Where and when the leading end is as a force takes hold, acts in full, lets go, and has let go.

    Travel in m and times in s since release, None where the part does not get there. ``uneven``: what
    the full strength lacks at most, relative.
    """

    enters_m: float
    full_from_m: float | None
    full_to_m: float | None
    uneven: float
    leaves_m: float
    enters_s: float | None
    leaves_s: float | None


@dataclass(frozen=True)
class Device:
    """A force of the nominal rig: ``key`` of its table, ``figures`` in SI, None where there is none.

    ``told``: the figures in a sentence or two. ``limits``: what is taken for granted, and how to do better.
    ``stay`` and ``gates``: where it acts; None and nothing for a force that does not tell.
    """

    key: str
    figures: Mapping[str, float | None]
    told: str
    limits: tuple[str, ...]
    stay: Stay | None = None
    gates: tuple[AtGate, ...] = ()

    KEYS: ClassVar[Keys] = {"figures": "", "key": None, "told": None, "limits": None}

    @property
    def words(self) -> str:
        """All of it in sentences."""
        return " ".join(filter(None, (self.told, self._where(), *(gate.words for gate in self.gates))))

    def _where(self) -> str:
        if self.stay is None:
            return ""
        s = self.stay
        full = "acts in full nowhere for long"
        if s.full_from_m is not None and s.full_to_m is not None:
            within = f" (within {100 * s.uneven:.2g} %)" if s.uneven >= 0.001 else ""
            full = f"acts in full{within} from {mm(s.full_from_m)} to {mm(s.full_to_m)}"
        when = "" if s.leaves_s is None else f", {short(1e3 * s.leaves_s, 4)} ms after release"
        return (
            f"The {self.key} takes hold when the leading end is at {mm(s.enters_m)}, {full}, and has let go "
            f"when it is at {mm(s.leaves_m)}{when}."
        )


def devices(scenario: Scenario, passed: Measured, move: Move = passage) -> tuple[Device, ...]:
    """Those forces of which there is something to tell; ``move`` as `gatesim.chain.pipeline.run` has it."""
    part, path = passed.rig.part, passed.rig.path
    return tuple(
        Device(
            table.key,
            force.figures(part, path),
            force.words(part, path),
            table.limits(),
            *_along(passed, force, table.key, move),
        )
        for table, force in zip(scenario.forces, passed.rig.forces, strict=True)
        if isinstance(force, Force) and force.figures(part, path)
    )


def expect_devices(scenario: Scenario, move: Remembered) -> None:
    """Let ``move`` know what `devices` will ask of it."""
    rig = motion_query(scenario, Nominal(1), controller=Controller({})).rig
    holds = [force.hold(rig.part) for force in rig.forces if isinstance(force, Force)]
    for hold in holds:
        if hold is not None:
            asked = np.array([[hold.enters, hold.leaves]])
            move.expect(Question(rig.part, rig.path, rig.forces, asked))


def listed(found: Sequence[Device]) -> dict[str, dict[str, Any]]:
    """Figures, stay and gates of each device, by its key: plain data."""
    return {device.key: data_of(device) for device in found}


def _along(passed: Measured, force: Force, name: str, move: Move) -> tuple[Stay | None, tuple[AtGate, ...]]:
    hold = force.hold(passed.rig.part)
    if hold is None:
        return None, ()
    rig, length = passed.rig, float(passed.true_length[0])
    ends = np.full(2, np.nan)
    with suppress(ArithmeticError):  # beyond the gates the motion may be one that is not computed
        ends = move(rig.part, rig.path, rig.forces, np.array([[hold.enters, hold.leaves]])).time[0]
    whole = hold.until > hold.full
    stay = Stay(
        hold.enters,
        hold.full if whole else None,
        hold.until if whole else None,
        hold.uneven,
        hold.leaves,
        *(_known(float(time)) for time in ends),
    )
    clear = tuple(_clear(hold, length))
    return stay, tuple(_at_gate(passed, force, name, gate, hold, clear) for gate in range(len(rig.gates)))


def _known(value: float) -> float | None:
    return None if value != value else value + 0.0  # no zero with a minus


def _strength(force: Force, x: Sequence[float], passed: Measured) -> Array:
    """Strength at positions x of the leading end, for the first trial."""
    return np.array([first_of(force.strength(np.array([at]), passed.rig.part, passed.rig.path)) for at in x])


def _clear(hold: Hold, length: float) -> Iterator[tuple[float, float | None]]:
    """Where a gate may stand so that the strength does not change while a part of ``length`` passes it."""
    if hold.enters - length >= 0.0:
        yield 0.0, hold.enters - length
    if hold.until - length >= hold.full:
        yield hold.full, hold.until - length
    yield hold.leaves, None


def _at_gate(
    passed: Measured,
    force: Force,
    name: str,
    gate: int,
    hold: Hold,
    clear: tuple[tuple[float, float | None], ...],
) -> AtGate:
    at, length = first_of(passed.rig.gates[gate]), float(passed.true_length[0])
    strength = _strength(force, (at, at + length), passed)
    largest = min(_strength(force, [first_of(kink) for kink in force.kinks(passed.rig.part)], passed))
    speeds = [float(passed.motion.speed[0, node[gate]]) for node in (passed.front, passed.rear)]
    laws = [first_of(force.law(np.array([speed]))) for speed in speeds]
    front, rear = (strength / largest).tolist() if largest else (0.0, 0.0)
    within = min(front, rear) > 1.0 - SLIGHT or max(front, rear) < SLIGHT
    within |= any(low <= at and (high is None or at <= high) for low, high in clear)
    words = "" if within else _words(name, gate + 1, (at, at + length), hold, (front, rear), clear)
    forces = [_known(float(s * law)) for s, law in zip(strength, laws, strict=True)]
    return AtGate(gate + 1, at, front, rear, forces[0], forces[1], () if within else clear, words)


def _words(
    name: str,
    gate: int,
    travel: tuple[float, float],
    hold: Hold,
    shares: tuple[float, float],
    clear: tuple[tuple[float, float | None], ...],
) -> str:
    """A gate that stands where the force comes and goes, and where it would not."""
    runs = [
        run
        for run, low, high in (("run-in", hold.enters, hold.full), ("run-out", hold.until, hold.leaves))
        if travel[0] < high and travel[1] > low
    ]
    places = ", or ".join(_place(low, high) for low, high in clear)
    front, rear = (f"{100 * share:.0f} %" for share in shares)
    return (
        f"Gate {gate} at {mm(travel[0])} lies in the {' and the '.join(runs)} of the {name}, which acts with "
        f"{front} of its full strength as the leading end passes and with {rear} as the trailing end does. "
        f"Clear of that, its distance from the release would be {places}."
    )


def _place(low: float, high: float | None) -> str:
    if high is None:
        return f"{mm(low)} or more"
    if low == 0.0:
        return f"{mm(high)} or less"
    return mm(low) if mm(low) == mm(high) else f"{mm(low)} to {mm(high)}"
