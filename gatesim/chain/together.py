"""Rigs run together: where the parts move alike, the equation of motion is solved once for all of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.alike import digest, motion_inputs
from gatesim.chain.pipeline import Measured, MotionQuery, measure, motion_query
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw
from gatesim.ground.outcome import Outcome
from gatesim.motion import Belt, Passage, passage
from gatesim.scenario.model import Scenario


@dataclass(frozen=True)
class Case:
    """One rig to run; see `gatesim.chain.pipeline.run`."""

    scenario: Scenario
    draw: Draw
    values: Mapping[str, Scalar] | None = None
    quantised: bool = True
    ends: bool = True


def run_all(cases: Sequence[Case]) -> list[Measured]:
    """Run every rig through the pipeline, with one motion for all that move alike.

    Which these are is told by what the motion is computed from, so that rigs may differ in anything.
    The motion is asked once for the positions of all of them; each is a node of the integration, so that
    its time is as good as that of a rig run alone (1e-9 relative).
    """
    queries = [motion_query(c.scenario, c.draw, c.values, ends=c.ends) for c in cases]
    alike: dict[bytes, list[int]] = {}
    for number, (case, query) in enumerate(zip(cases, queries, strict=True)):
        alike.setdefault(_moves_as(case.scenario, query), []).append(number)
    found: dict[int, Measured] = {}
    for numbers in alike.values():
        motions = _asked_at_once([queries[number] for number in numbers])
        for number, motion in zip(numbers, motions, strict=True):
            case = cases[number]
            found[number] = measure(
                case.scenario, case.draw, queries[number], motion, quantised=case.quantised
            )
    return [found[number] for number in range(len(cases))]


def _moves_as(scenario: Scenario, query: MotionQuery) -> bytes:
    """Equal for rigs that can share a motion."""
    rig, positions = query.rig, query.positions
    told = [motion_inputs(rig.part, rig.path, rig.forces).digest, str(len(positions)).encode()]
    if scenario.counter.source.turned_by == "part":  # a roller stands still past the last position asked for
        told += [str(positions.shape).encode(), positions.tobytes()]
    elif _judged_by_reach(query):
        told += [np.asarray(gate).tobytes() for gate in rig.gates]
    return digest(told)


def _judged_by_reach(query: MotionQuery) -> bool:
    """Whether the outcome of the motion may depend on how far it is followed past the rig's own gates."""
    rig = query.rig
    last = np.max(query.positions, axis=1, where=~np.isnan(query.positions), initial=0.0)
    for force in rig.forces:
        if isinstance(force, Belt):  # the part may slip further on
            return True
        crest = force.crest(rig.part)
        if crest is not None and np.any(last < crest.high):  # it may run away further on
            return True
    return False


def _asked_at_once(queries: Sequence[MotionQuery]) -> list[Passage]:
    """The motion for each of the queries, which differ in nothing but their positions."""
    if len(queries) == 1:
        rig = queries[0].rig
        return [passage(rig.part, rig.path, rig.forces, queries[0].positions)]
    known: dict[bytes, int] = {}
    columns: list[Array] = []
    own = []
    for query in queries:
        numbers = []
        for column in query.positions.T:
            key = column.tobytes()
            if key not in known:
                known[key] = len(columns)
                columns.append(column)
            numbers.append(known[key])
        own.append(np.array(numbers, np.intp))
    rig = queries[0].rig
    motion = passage(rig.part, rig.path, rig.forces, np.stack(columns, axis=1))
    return [_own(motion, numbers, query) for numbers, query in zip(own, queries, strict=True)]


def _own(motion: Passage, columns: NDArray[np.intp], query: MotionQuery) -> Passage:
    """The motion as one rig asked for it: a part may stop past its gates and before another's."""
    time = motion.time[:, columns]
    passed = (~np.isnan(time) | np.isnan(query.positions)).all(axis=1)
    stops = np.isin(motion.outcome, (Outcome.STOPPED, Outcome.RAN_BACK))
    with np.errstate(invalid="ignore"):  # NaN: no brake
        runs_away = (motion.brake_ratio > 1.0) & (motion.brake_acceleration > 0.0)
    before = np.where(runs_away, Outcome.RUNAWAY, Outcome.MEASURED)
    outcome = np.where(stops & passed, before, motion.outcome).astype(np.int64)
    return replace(motion, time=time, speed=motion.speed[:, columns], outcome=outcome)
