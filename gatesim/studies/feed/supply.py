"""Parts that follow one another: when each is released, and when it darkens the gates."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.assembly import forces_of
from gatesim.chain.pipeline import MotionQuery, Move, light_of, motion_query
from gatesim.ground.arrays import Array, Flags, Scalar, take
from gatesim.ground.draw import Draw, Kind, Streams
from gatesim.ground.level import Level
from gatesim.ground.table import TableValues
from gatesim.motion import Belt, Force, Passage, belt_among, passage
from gatesim.motion.belt.phases import smooth as smooth_over_phase
from gatesim.scenario import Scenario
from gatesim.studies.feed.harmonics import Harmonics, harmonics_of

Pattern = Literal["fixed", "uniform", "normal", "exponential"]
PATTERNS: dict[str, Pattern] = {
    "fixed": "fixed",
    "uniform": "uniform",
    "normal": "normal",
    "exponential": "exponential",
}


@dataclass(frozen=True)
class Spacing:
    """Times from release to release: ``pattern`` about the mean, ``scatter`` = standard deviation / mean.

    Fixed and exponential gaps have no scatter to choose (0 and 1). Uniform gaps allow up to
    1/sqrt(3). Normal gaps are cut off at zero, which makes the mean a little longer (by
    less than 1e-4 of it up to a scatter of 0.3).
    """

    pattern: Pattern
    scatter: float = 0.0

    @property
    def words(self) -> str:
        """The assumption on the gaps, in words."""
        said = {
            "fixed": "even gaps, every part the same time after the one before",
            "exponential": "random gaps (exponential: a part comes at any moment, whenever the last came)",
        }
        other = f"{self.pattern} gaps, standard deviation {100.0 * self.scatter:.3g} % of the mean"
        return said.get(self.pattern, other)

    def gaps(self, streams: Streams, parts: int) -> Array:
        """Gaps of mean 1, (streams, parts)."""
        if self.pattern == "fixed":
            return np.ones((streams.trials, parts))
        if self.pattern == "normal":
            return np.maximum(1.0 + self.scatter * streams.normal("feed.gap", parts), 0.0)
        u = streams.uniform("feed.gap", parts)
        if self.pattern == "uniform":
            return 1.0 + math.sqrt(3.0) * self.scatter * (2.0 * u - 1.0)
        return np.asarray(-np.log(u))


def spacing_of(pattern: str, scatter: float) -> Spacing:
    """Spacing of that name; the scatter is left aside where the pattern has its own."""
    known = PATTERNS[pattern]
    return Spacing(known, scatter if known in ("uniform", "normal") else 0.0)


@dataclass(frozen=True)
class PartDraws(Draw):
    """Draws for streams of parts, row by row: a part's own quantities anew, the rig's once a stream.

    ``levels``: how often a name is drawn; left out, what is not the part's own is the rig's.
    """

    seed: int
    block: int
    streams: int
    parts: int
    levels: Mapping[str, Level] = field(default_factory=dict)

    @property
    def trials(self) -> int:
        """Number of parts altogether."""
        return self.streams * self.parts

    @property
    def rig(self) -> Streams:
        """The draws of the rigs, one a stream."""
        return Streams(self.seed, self.block, self.streams)

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        if self.levels.get(name, "part" if name.startswith("part.") else "rig") != "rig":
            return Streams(self.seed, self.block, self.trials).drawn(kind, name, columns)
        return np.repeat(self.rig.drawn(kind, name, columns), self.parts, axis=0)


@dataclass(frozen=True)
class Crossings:
    """Light at the gates as each part alone would change it, a gate: (streams, parts, edges) s.

    Alternately dark and light, inf-padded; on the clock of the stream.
    """

    gates: tuple[Array, ...]

    @staticmethod
    def one_after_another(several: Sequence["Crossings"]) -> "Crossings":
        """The streams of several, those of one after those of the other."""
        return Crossings(
            tuple(np.concatenate(gates) for gates in zip(*(c.gates for c in several), strict=True))
        )

    def some(self, rows: NDArray[np.intp]) -> "Crossings":
        """Some of the streams."""
        return Crossings(tuple(times[rows] for times in self.gates))

    def starts(self, gate: int) -> Array:
        """Leading edges, (streams, parts); inf for a part that does not darken the gate."""
        return self.gates[gate][:, :, 0]

    def ends(self, gate: int) -> Array:
        """Last trailing edges, (streams, parts); inf for a part that never clears the gate."""
        times = self.gates[gate]
        dark = np.isfinite(times).sum(axis=2)
        last = np.take_along_axis(times, np.maximum(dark - 1, 0)[:, :, None], axis=2)[:, :, 0]
        return np.where((dark > 0) & (dark % 2 == 0), last, np.inf)


@dataclass(frozen=True)
class Parts:
    """Parts of a block of streams, whatever the gaps between them.

    Parts do not touch: one that catches up with another passes through it in the beam.
    ``alone``: their crossings, unless these depend on when they come; then ``query`` is what they are
    computed from, and ``over`` what is known of them over the phase at which they come.
    """

    scenario: Scenario
    draws: PartDraws
    query: MotionQuery | None
    alone: Crossings | None
    over: Harmonics | None = None

    @staticmethod
    def of(scenario: Scenario, draws: PartDraws, move: Move | None = None) -> "Parts":
        """Draw the parts; their motion is solved here, at some phases where it depends on when they come.

        ``move`` answers for the motion of those that move alike whenever they come, if it is given.
        """
        query = motion_query(scenario, draws, ends=False)
        if not _later(scenario, query, np.zeros(draws.trials)):
            rig, move = query.rig, passage if move is None else move
            light = _light(query, move(rig.part, rig.path, rig.forces, query.positions))
            return Parts(scenario, draws, None, _crossings(draws, query, light))
        return Parts(scenario, draws, query, None, _over_phase(scenario, query))

    def released(self, times: Array) -> Crossings:
        """Crossings of parts that are released at ``times`` (streams, parts) s."""
        alone = self.alone
        if alone is None:
            assert self.query is not None, "made without their motion"
            alone = _crossings(self.draws, self.query, self._met(self.query, times.ravel()))
        return Crossings(tuple(at + times[:, :, None] for at in alone.gates))

    def _met(self, query: MotionQuery, release: Array) -> Array:
        """Light at the gates (q, n), from release on, of parts that are released at ``release`` (n,) s."""
        values = _later(self.scenario, query, release)
        found, rest = np.empty((query.positions.shape[1], release.size)), np.ones(release.size, bool)
        if self.over is not None:
            (phase,), known = (np.asarray(value) for value in values.values()), self.over.rows
            found[:, known], rest[known] = self.over.at(phase[known]), False
        rows = np.flatnonzero(rest)
        if rows.size:
            found[:, rows], _ = _solved(query, _forces(self.scenario, query, values), rows)
        return found


@dataclass(frozen=True)
class Supply:
    """Parts of a block of streams with gaps (streams, parts) of mean 1 between them."""

    parts: Parts
    gaps: Array

    @staticmethod
    def of(parts: Parts, spacing: Spacing) -> "Supply":
        """Draw the gaps."""
        return Supply(parts, spacing.gaps(parts.draws.rig, parts.draws.parts))

    def at(self, rate: float) -> Crossings:
        """Crossings when parts are released at a mean ``rate`` (1/s)."""
        return self.parts.released(np.cumsum(self.gaps, axis=1) / rate)


def _later(scenario: Scenario, query: MotionQuery, release: Array) -> dict[str, Scalar]:
    """What forces that change with time are for parts released later (n,)."""
    return {
        f"{force.key}.{key}": value
        for force in scenario.forces
        for key, value in force.later(TableValues(query.values, force.key), release).items()
    }


def _forces(scenario: Scenario, query: MotionQuery, values: Mapping[str, Scalar]) -> tuple[Force | Belt, ...]:
    """The forces of a query, with other values."""
    return forces_of(scenario, {**query.values, **values}, query.rig.part, query.rig.path)


def _over_phase(scenario: Scenario, query: MotionQuery) -> Harmonics | None:
    """Light over the phase at which parts come, where nothing else depends on when they do."""
    name, *more = _later(scenario, query, np.zeros(len(query.positions)))
    belt = belt_among(query.rig.forces)
    phases = {f"{force.key}.{key}" for force in scenario.forces for key in force.random_phases()}
    if more or name not in phases or belt is None:
        return None

    def solve(phase: float, rows: NDArray[np.intp]) -> tuple[Array, Passage]:
        return _solved(query, _forces(scenario, query, {name: phase}), rows)

    def smooth(motions: Sequence[Passage], rows: NDArray[np.intp]) -> Flags:
        return smooth_over_phase(take(belt, rows), motions, query.positions[rows])

    try:
        return harmonics_of(solve, smooth, len(query.positions))
    except ArithmeticError:  # refused at a phase at which no part may come
        return None


def _solved(
    query: MotionQuery, forces: Sequence[Force | Belt], rows: NDArray[np.intp]
) -> tuple[Array, Passage]:
    """Light at the gates (q, r), an edge a row, and the motion of some parts (r,)."""
    rig = query.rig
    some = tuple(take(force, rows) for force in forces)
    motion = passage(take(rig.part, rows), take(rig.path, rows), some, query.positions[rows])
    if rows.size == len(query.positions):
        return _light(query, motion), motion
    # the sensors are those of all parts
    time, speed = np.full((2, *query.positions.shape), np.nan)
    time[rows], speed[rows] = motion.time, motion.speed
    return _light(query, replace(motion, time=time, speed=speed))[:, rows], motion


def _light(query: MotionQuery, motion: Passage) -> Array:
    """Light at the gates (q, n), an edge a row."""
    return np.concatenate([light.T for light in light_of(query, motion)])


def _crossings(draws: PartDraws, query: MotionQuery, light: Array) -> Crossings:
    """The same as `Crossings` of every stream."""
    return Crossings(tuple(light[edges].T.reshape(draws.streams, draws.parts, -1) for edges in query.edges))
