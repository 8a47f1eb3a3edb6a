"""The measurement, stage by stage: part and path to edges, edges to counts, counts to readings."""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.assembly import counter_of, filter_of, forces_of, gates_of, part_of, path_of, sensor_of
from gatesim.chain.controller import Controller, controller_of
from gatesim.chain.once import once
from gatesim.chain.outlines import variants
from gatesim.chain.signals import Signals, light_at, signals, with_followers
from gatesim.chain.verdict import unread, verdict
from gatesim.counter import Counted, Counter, count
from gatesim.counter.source import Travel
from gatesim.formula import FORMULAS, Constants, Counts
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.correlation import together
from gatesim.ground.draw import Draw
from gatesim.inputfilter import Filter
from gatesim.motion import Belt, Force, Passage, Path
from gatesim.part import Part
from gatesim.scenario.model import Scenario
from gatesim.sensor import Sensor, Switching, switching

Move = Callable[[Part, Path, tuple[Force | Belt, ...], Array], Passage]
"""Motion of a part: answers for positions as `gatesim.motion.passage` does."""

Switch = Callable[..., Switching]
"""Where a gate's output switches: answers as `gatesim.sensor.switching` does."""

ROLLER_REACH = 0.25
"""Distance in m that a part still turns a measuring roller past the last gate: edges come late."""


@dataclass(frozen=True)
class Rig:
    """What is described: everything a passage needs, one value or (n,) values a quantity."""

    part: Part
    path: Path
    forces: tuple[Force | Belt, ...]
    gates: tuple[Scalar, ...]
    sensors: tuple[Sensor, ...]
    filter: Filter
    constants: Mapping[str, Constants]
    """Of each formula to evaluate, the one in charge first; see `Controller`."""
    releases: tuple[Scalar, ...]
    """Times at which the part and those that follow it are released, in s."""


@dataclass(frozen=True)
class MotionQuery:
    """What is asked of the motion: n trials of a rig, SI.

    ``values`` of every input by name; ``switchings`` a gate; ``positions`` (n, p) whose
    crossing times are wanted, with the columns as in `Measured`.
    """

    values: Mapping[str, Scalar]
    rig: Rig
    switchings: tuple[Switching, ...]
    positions: Array
    front: tuple[int, ...]
    rear: tuple[int, ...]
    edges: tuple[slice, ...]


@dataclass(frozen=True)
class Measured:
    """What is computed: n trials, stage by stage, SI.

    ``true_length`` (n,). ``motion`` answers for the positions asked: columns ``front[g]``
    and ``rear[g]`` are the part's ends at gate g, ``edges[g]`` the switching positions.
    ``light``, ``sensed``, ``filtered``: transition lists a gate, before and after response
    and filter. ``counted``: registers; ``counts`` of the first cycle. ``readings``: formula
    -> (n,) m, NaN where there is none. ``outcome`` (n,) codes of `gatesim.ground.outcome.Outcome`.
    """

    rig: Rig
    true_length: Array
    motion: Passage
    front: tuple[int, ...]
    rear: tuple[int, ...]
    light: tuple[Array, ...]
    sensed: tuple[Array, ...]
    filtered: tuple[Array, ...]
    counter: Counter
    counted: Counted
    counts: Counts
    readings: dict[str, Array]
    outcome: NDArray[np.int64]


def drawn(scenario: Scenario, draw: Draw, given: Collection[str] = ()) -> dict[str, Scalar]:
    """One value, or one a trial, for every input of the pipeline that is not ``given``."""
    joint = together(draw, scenario.correlations())
    return {name: q.sample(joint, name) for name, q in scenario.inputs().items() if name not in given}


def rig_of(scenario: Scenario, values: Mapping[str, Scalar], controller: Controller | None = None) -> Rig:
    """Put the rig together from a value for every input.

    ``controller``: another than the scenario's, or that one where it is known: finding it takes a motion.
    """
    part, path = part_of(scenario, values), path_of(values)
    controller = controller_of(scenario) if controller is None else controller
    gates = gates_of(values)
    return Rig(
        part,
        path,
        forces_of(scenario, values, part, path),
        gates,
        tuple(sensor_of(scenario, values, gate) for gate in range(1, len(gates) + 1)),
        filter_of(scenario, values),
        controller.constants,
        _releases(scenario, values),
    )


def _releases(scenario: Scenario, values: Mapping[str, Scalar]) -> tuple[Scalar, ...]:
    if scenario.follower is None:
        return (0.0,)
    return tuple(number * values["follower.interval"] for number in range(scenario.follower.count + 1))


def run(
    scenario: Scenario,
    draw: Draw,
    values: Mapping[str, Scalar] | None = None,
    *,
    quantised: bool = True,
    ends: bool = True,
    move: Move = once,
    controller: Controller | None = None,
) -> Measured:
    """Run n = ``draw.trials`` parts through the whole measurement.

    ``values`` (SI) replace what would be drawn for inputs of those names (``part.length``,
    ``sensor.dark_delay@1``). ``quantised`` off counts fractions, for sensitivities. ``ends``
    off leaves out when the part's ends pass the gates, which no reading needs (``front`` and
    ``rear`` are then empty). ``move`` answers for the motion in place of the equation of
    motion, to see what another motion would have read. ``controller``: see `rig_of`.
    """
    query = motion_query(scenario, draw, values, ends=ends, controller=controller)
    motion = move(query.rig.part, query.rig.path, query.rig.forces, query.positions)
    return measure(scenario, draw, query, motion, quantised=quantised)


def motion_query(
    scenario: Scenario,
    draw: Draw,
    values: Mapping[str, Scalar] | None = None,
    *,
    ends: bool = True,
    controller: Controller | None = None,
    switch: Switch | None = None,
) -> MotionQuery:
    """Put the rig together and find the positions whose crossing times it takes; see `run` and `rig_of`.

    ``switch`` answers for where a gate's output switches, in place of `gatesim.sensor.switching`.
    """
    switch = switching if switch is None else switch
    given = values or {}
    drawn_values = {**drawn(scenario, draw, given), **given}
    rig = rig_of(scenario, drawn_values, controller)
    length = scenario.part.length.nominal
    switchings = tuple(
        switch(
            rig.part, s.beam, s.dark_fraction, s.light_fraction, length, s.angle,
            variants(scenario, drawn_values, gate),
        )
        for gate, s in enumerate(rig.sensors, start=1)
    )  # fmt: skip
    follow = scenario.counter.source.turned_by == "part"
    positions = _positions(rig, switchings, draw.trials, ends=ends, follow=follow)
    return MotionQuery(drawn_values, rig, switchings, *positions)


def light_of(query: MotionQuery, motion: Passage) -> tuple[Array, ...]:
    """Transition list of the comparator of each gate, one part alone."""
    return tuple(
        light_at(sensor, at, motion, columns)
        for sensor, at, columns in zip(query.rig.sensors, query.switchings, query.edges, strict=True)
    )


def signals_of(query: MotionQuery, motion: Passage, draw: Draw) -> Signals:
    """What every gate reports, stage by stage, from the motion that answers ``query.positions``."""
    rig, alone = query.rig, light_of(query, motion)
    light = tuple(with_followers(rig.releases, times) for times in alone)
    return Signals(alone, light, *signals(rig.sensors, rig.filter, light, draw))


def measure(
    scenario: Scenario,
    draw: Draw,
    query: MotionQuery,
    motion: Passage,
    *,
    quantised: bool = True,
    seen: Signals | None = None,
) -> Measured:
    """From the motion, as `gatesim.motion.passage` answers ``query.positions``, to the readings.

    ``seen``: what `signals_of` makes of the same, where it is known already.
    """
    rig, n = query.rig, draw.trials
    seen = signals_of(query, motion, draw) if seen is None else seen
    counter = counter_of(scenario, query.values, _roller_travel(scenario, motion), quantised=quantised)
    charge = FORMULAS[next(iter(rig.constants))]
    latched = seen.latched(counter.timing, draw)
    counted = count(counter, seen.filtered, draw, needed=charge.registers, known=latched)
    counts = counted.counts()
    outcome = verdict(
        scenario, rig.gates, motion, seen.alone, seen.filtered, counted, rig.filter.stretches_to
    )
    over = {key: flags[:, 0] for key, flags in counted.overflowed.items()}
    readings = read(rig.constants, counts, outcome.reads, over)
    return Measured(
        rig,
        np.broadcast_to(np.asarray(rig.part.length, float), (n,)),
        motion,
        query.front,
        query.rear,
        seen.light,
        seen.sensed,
        seen.filtered,
        counter,
        counted,
        counts,
        readings,
        unread(outcome.code, next(iter(readings.values()))),
    )


def read(
    constants: Mapping[str, Constants],
    counts: Counts,
    reads: NDArray[np.bool_],
    overflowed: Mapping[str, NDArray[np.bool_]] | None = None,
) -> dict[str, Array]:
    """Readings of each formula with its calibration line applied, (n,), NaN where none is had.

    ``overflowed`` (n,) by register, where known: a formula that needs it has no reading.
    """
    readings = {}
    lost = {key: flags for key, flags in (overflowed or {}).items() if flags.any()}
    for name, held in constants.items():
        length = held.gain * FORMULAS[name].length(counts, held) + held.zero
        for key in FORMULAS[name].registers:
            if key in lost:
                length = np.where(lost[key], np.nan, length)
        readings[name] = np.where(reads, length, np.nan)
    return readings


def _positions(
    rig: Rig, switchings: tuple[Switching, ...], n: int, *, ends: bool, follow: bool
) -> tuple[Array, tuple[int, ...], tuple[int, ...], tuple[slice, ...]]:
    """Positions to ask of the motion, (n, p), and which columns are whose.

    ``follow`` asks for one past the last gate, up to which the part turns a measuring roller.
    """
    columns: list[Array] = []
    front, rear, edges = [], [], []
    for gate, at in zip(rig.gates, switchings, strict=True):
        if ends:
            front.append(len(columns))
            columns.append(np.broadcast_to(gate, (n,)))
            rear.append(len(columns))
            columns.append(np.broadcast_to(gate + np.asarray(rig.part.length), (n,)))
        edges.append(slice(len(columns), len(columns) + at.travel.shape[1]))
        columns += [
            np.broadcast_to(gate + np.where(np.isfinite(column), column, np.nan), (n,))
            for column in at.travel.T
        ]
    if follow:
        columns.append(np.broadcast_to(rig.gates[-1] + np.asarray(rig.part.length) + ROLLER_REACH, (n,)))
    # columns as they lie in memory: the motion works on each by itself
    return np.stack(columns).T, tuple(front), tuple(rear), tuple(edges)


def _roller_travel(scenario: Scenario, motion: Passage) -> Travel:
    """How far the belt or the part has moved at times (n, k).

    A roller on the part stands still once the part has left it: past the last position asked for.
    """
    turned_by, belt = scenario.counter.source.turned_by, motion.belt
    if not turned_by:
        return motion.travel_at
    if turned_by == "belt" and belt is not None:
        return partial(_of_belt, belt)
    left = np.nanmax(np.column_stack([motion.node_time, motion.stop_time]), axis=1)[:, None]
    return partial(_until, motion, left)


# named, not written in place, so that what was measured can be handed to another process
def _of_belt(belt: Belt, times: Array) -> Array:
    moved: Array = belt.travel(times.T).T
    return moved


def _until(motion: Passage, left: Array, times: Array) -> Array:
    return motion.travel_at(np.minimum(times, left))
