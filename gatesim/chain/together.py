"""Rigs run together: where the parts move alike, the equation of motion is solved once for all of them.

Motions that differ are solved side by side.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from gatesim.chain.alike import content, digest, motion_inputs
from gatesim.chain.assembly import filter_of
from gatesim.chain.controller import Controller, controller_of, held_together
from gatesim.chain.pipeline import Measured, MotionQuery, Move, measure, motion_query, signals_of
from gatesim.chain.readonce import ReadOnce
from gatesim.chain.sidebyside import Question, answered
from gatesim.chain.signals import Signals
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.outcome import Outcome
from gatesim.motion import Belt, Passage, belt_among
from gatesim.part import Part
from gatesim.scenario.model import Scenario
from gatesim.sensor import Switching, switching


@dataclass(frozen=True)
class Case:
    """One rig to run; see `gatesim.chain.pipeline.run`. ``surface``: answers for its motion, if any."""

    scenario: Scenario
    draw: Draw
    values: Mapping[str, Scalar] | None = None
    quantised: bool = True
    ends: bool = True
    controller: Controller | None = None
    surface: Move | None = None


def run_all(cases: Sequence[Case], switched: "Switched | None" = None) -> list[Measured]:
    """Run every rig through the pipeline, with one motion for all that move alike.

    ``switched``: what is known of sensors from rigs that were run before.

    Which these are is told by what the motion is computed from, so that rigs may differ in anything.
    The motion is asked once for the positions of all of them; each is a node of the integration, so that
    its time is as good as that of a rig run alone (1e-9 relative).
    """
    held_together([case.scenario for case in cases if case.controller is None])
    switch = Switched(ReadOnce()) if switched is None else switched
    once = switch.once
    queries = _queries(cases, switch)
    alike: dict[bytes, list[int]] = {}
    moves: dict[tuple[int, int], bytes] = {}
    for number, (case, query) in enumerate(zip(cases, queries, strict=True)):
        asked = (id(query.positions), id(case.surface))
        if asked not in moves:
            moves[asked] = _moves_as(case, query, once)
        alike.setdefault(moves[asked], []).append(number)
    found: dict[int, Measured] = {}
    surfaces = [cases[numbers[0]].surface for numbers in alike.values()]
    each = _moved([[queries[number] for number in numbers] for numbers in alike.values()], surfaces)
    for numbers, motions in zip(alike.values(), each, strict=True):
        known: dict[tuple[Any, ...], Signals] = {}
        for number, motion in zip(numbers, motions, strict=True):
            case, query = cases[number], queries[number]
            key = _seen_as(case, query) if len(numbers) > 1 else ()
            if key not in known:
                known[key] = signals_of(query, motion, case.draw)
            found[number] = measure(
                case.scenario, case.draw, query, motion, quantised=case.quantised, seen=known[key]
            )
    return [found[number] for number in range(len(cases))]


def _queries(cases: Sequence[Case], switch: "Switched") -> list[MotionQuery]:
    """What is asked for each rig, put together once for all that differ only past the sensors."""
    known: dict[tuple[Any, ...], MotionQuery] = {}
    found = []
    for case in cases:
        key = _asked_as(case) if len(cases) > 1 else ()
        if key in known:
            found.append(_past_the_sensors(known[key], case, switch.once))
        else:
            found.append(known.setdefault(key, _query(case, switch)))
    return found


def _query(case: Case, switch: "Switched") -> MotionQuery:
    given = case.values or {}
    values = {**switch.once.drawn(case.scenario, case.draw, given), **given}
    return motion_query(
        case.scenario, case.draw, values, ends=case.ends, controller=case.controller, switch=switch
    )


PAST_THE_SENSORS = ("counter", "filter", "formula", "requirement", "title", "note")
"""Tables on which what is asked does not depend, but for a roller that the part turns."""


def _asked_as(case: Case) -> tuple[Any, ...]:
    """Equal for rigs of which the same is asked, in their common draws."""
    scenario = case.scenario
    if scenario.correlations():  # what is drawn together may be of any table
        return (id(case),)
    tables = (getattr(scenario, key) for key in Scenario.model_fields if key not in PAST_THE_SENSORS)
    given = tuple(  # arrays live as long as the cases
        (name, id(value) if isinstance(value, np.ndarray) else value)
        for name, value in (case.values or {}).items()
        if not name.startswith(OF_COUNTING)
    )
    return id(case.draw), case.ends, scenario.counter.source.turned_by == "part", *tables, given


OF_COUNTING = ("counter.", "filter.")


def _past_the_sensors(query: MotionQuery, case: Case, once: ReadOnce) -> MotionQuery:
    """The query of a rig that differs past the sensors, for this one."""
    scenario = case.scenario
    shared = {name: value for name, value in query.values.items() if not name.startswith(OF_COUNTING)}
    given = {**shared, **(case.values or {})}
    values = {**once.drawn(scenario, case.draw, given), **given}
    controller = controller_of(scenario) if case.controller is None else case.controller
    rig = replace(query.rig, filter=filter_of(scenario, values), constants=controller.constants)
    return replace(query, values=values, rig=rig)


@dataclass(frozen=True)
class Switched:
    """`gatesim.sensor.switching` that remembers, since many rigs have the same sensors."""

    once: ReadOnce
    known: dict[bytes, Switching] = field(default_factory=dict)
    parts: dict[int, tuple[Part, bytes]] = field(default_factory=dict)

    def __call__(self, part: Part, *described: Any) -> Switching:
        """See `gatesim.sensor.switching`."""
        if id(part) not in self.parts:  # a part is seen by several gates
            self.parts[id(part)] = part, digest(content(part, self.once.digest))
        key = digest([self.parts[id(part)][1], *content(described, self.once.digest)])
        if key not in self.known:
            self.known[key] = switching(part, *described)
        return self.known[key]


OF_SIGNALS = ("gate.", "sensor.", "filter.", "follower.")
"""Inputs that tell, beside motion and outlines, what a counter sees."""


def _seen_as(case: Case, query: MotionQuery) -> tuple[Any, ...]:
    """Equal for rigs that move alike whose counters are told the same, in their common draws."""
    s, values = case.scenario, case.values or {}
    same = (id(case.draw), *map(id, query.switchings))  # of things that live as long as the cases
    given = tuple((name, value) for name, value in values.items() if name.startswith(OF_SIGNALS))
    of_tables = (s.gate, s.sensor, s.filter, s.follower, s.correlation, s.fitted)
    return (*same, *of_tables, digest(content(given)))


def _moves_as(case: Case, query: MotionQuery, once: ReadOnce) -> bytes:
    """Equal for rigs that can share a motion."""
    rig, positions = query.rig, query.positions
    inputs = motion_inputs(rig.part, rig.path, rig.forces)
    told = [inputs.shared, *map(once.digest, inputs.each), str(len(positions)).encode()]
    # a roller stands still past the last position asked for, and a surface is made for the rig's own
    if case.scenario.counter.source.turned_by == "part" or case.surface is not None:
        told += [str(id(case.surface)).encode(), str(positions.shape).encode(), positions.tobytes()]
    elif _judged_by_reach(query):
        told += [np.asarray(gate).tobytes() for gate in rig.gates]
    return digest(told)


def _judged_by_reach(query: MotionQuery) -> bool:
    """Whether the outcome of the motion may depend on how far it is followed past the rig's own gates."""
    rig = query.rig
    if belt_among(rig.forces) is not None:  # the part may slip further on
        return True
    crests = [force.crest(rig.part) for force in rig.forces if not isinstance(force, Belt)]
    ends = [crest.high for crest in crests if crest is not None]
    if not ends:
        return False
    last = np.max(query.positions, axis=1, where=~np.isnan(query.positions), initial=0.0)
    return any(np.any(last < end) for end in ends)  # it may run away further on


def _moved(groups: Sequence[Sequence[MotionQuery]], surfaces: Sequence[Move | None]) -> list[list[Passage]]:
    """The motions of groups of queries, those of a group differing in nothing but their positions.

    Not even in these where there is a surface.
    """
    asked = [_asked_at_once(queries) for queries, s in zip(groups, surfaces, strict=True) if s is None]
    solved = zip(asked, answered([question for question, _ in asked]), strict=True)
    found = []
    for queries, surface in zip(groups, surfaces, strict=True):
        rig = queries[0].rig
        if surface is not None:
            motion = surface(rig.part, rig.path, rig.forces, queries[0].positions)
            found.append([motion] * len(queries))
            continue
        (_, own), motion = next(solved)
        if len(queries) == 1:
            found.append([motion])
            continue
        query_of = dict(zip(own, queries, strict=True))  # one of each kind
        each = {numbers: _own(motion, numbers, query) for numbers, query in query_of.items()}
        found.append([each[numbers] for numbers in own])
    return found


def _asked_at_once(queries: Sequence[MotionQuery]) -> tuple[Question, list[tuple[int, ...]]]:
    """One question for the positions of all, and which columns of it are whose."""
    rig = queries[0].rig
    known: dict[bytes, int] = {}
    columns: list[Array] = []
    own: list[tuple[int, ...]] = []
    for query in queries:
        numbers = []
        for column in query.positions.T:
            key = column.tobytes()
            if key not in known or len(queries) == 1:
                known[key] = len(columns)
                columns.append(column)
            numbers.append(known[key])
        own.append(tuple(numbers))
    return Question(rig.part, rig.path, rig.forces, np.stack(columns, axis=1)), own


def _own(motion: Passage, numbers: tuple[int, ...], query: MotionQuery) -> Passage:
    """The motion as one rig asked for it: a part may stop past its gates and before another's."""
    columns = np.array(numbers, np.intp)
    time = motion.time[:, columns]
    passed = (~np.isnan(time) | np.isnan(query.positions)).all(axis=1)
    stops = np.isin(motion.outcome, (Outcome.STOPPED, Outcome.RAN_BACK))
    with np.errstate(invalid="ignore"):  # NaN: no brake
        runs_away = (motion.brake_ratio > 1.0) & (motion.brake_acceleration > 0.0)
    before = np.where(runs_away, Outcome.RUNAWAY, Outcome.MEASURED)
    outcome = np.where(stops & passed, before, motion.outcome).astype(np.int64)
    return replace(motion, time=time, speed=motion.speed[:, columns], outcome=outcome)
