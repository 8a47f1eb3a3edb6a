"""What candidates share: the draws, and the motion of those that differ only past it."""

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from gatesim.chain.pipeline import Measured, MotionQuery, measure, motion_query
from gatesim.chain.reference import AS_USUAL, Calibration
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Kind, Streams
from gatesim.ground.level import Level
from gatesim.ground.nested import Layout, Nested, SameRigs
from gatesim.ground.outcome import Outcome
from gatesim.motion import Passage, passage
from gatesim.scenario import Scenario
from gatesim.studies.draws import Renamed


@dataclass(frozen=True)
class Repeated(Draw):
    """The draws of ``inner`` once for each of ``times`` part lengths, each drawn only once.

    Trial j of every length and of every candidate has the same draws (common random numbers).
    """

    inner: Draw
    times: int
    known: dict[tuple[str, str, int | None], Array] = field(default_factory=dict)

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.inner.trials * self.times

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `gatesim.ground.draw.Draw.drawn`."""
        key = (kind, name, columns)
        if key not in self.known:
            draws = self.inner.drawn(kind, name, columns)
            self.known[key] = np.tile(draws, self.times if columns is None else (self.times, 1))
        return self.known[key]


NOT_MOTION = ("title", "note", "sensor", "filter", "counter", "formula", "requirement", "follower")
"""Tables of a scenario that are known not to touch the motion past the gates; any other may."""


def motion_key(scenario: Scenario) -> str:
    """Equal for scenarios whose parts move alike and are asked for at almost the same positions.

    A roller that the part turns stands still past the last position asked for, so that a rig
    with one shares its motion with nobody.
    """
    apart = set(NOT_MOTION)
    if scenario.counter.source.turned_by == "part":
        apart -= {"sensor", "filter", "counter"}
    return _text(scenario, [key for key in Scenario.model_fields if key not in apart])


def rig_key(scenario: Scenario) -> str:
    """Equal for scenarios that differ in their formula only."""
    return _text(scenario, [key for key in Scenario.model_fields if key not in ("formula", "title", "note")])


def _text(scenario: Scenario, tables: Iterable[str]) -> str:
    return json.dumps([scenario.raw.get(table) for table in tables], sort_keys=True, default=str)


def repeated(scenarios: Sequence[Scenario], streams: Streams, lengths: int, on_a_rig: int) -> list[Draw]:
    """Draws of each scenario, the same for every part length; so many trials in a row are of one rig.

    Scenarios that draw the same names equally often share them.
    """
    if on_a_rig == 1:
        return [Repeated(streams, lengths)] * len(scenarios)
    layout = Layout(on_a_rig, 1)
    rigs = replace(streams, trials=layout.rigs(streams.trials))
    made: dict[frozenset[tuple[str, Level]], Draw] = {}
    for levels in (_levels(scenario) for scenario in scenarios):
        nested = Nested(rigs, layout, dict(levels), streams.trials)
        made.setdefault(levels, Repeated(nested, lengths))
    return [made[_levels(scenario)] for scenario in scenarios]


def _levels(scenario: Scenario) -> frozenset[tuple[str, Level]]:
    return frozenset((name, q.per or "passage") for name, q in scenario.inputs().items() if q.spread)


def references_of(lengths: Array, how: str) -> Array:
    """Lengths (m) of the parts that a rig is calibrated with, shortest first; none for "none"."""
    if how == "none":
        return np.zeros(0)
    ends = np.array([lengths[0], lengths[-1]])
    return ends if how == "line" and lengths.size > 1 else ends.mean(keepdims=True)


def calibrations(
    scenarios: Sequence[Scenario], streams: Streams, known: Array, on_a_rig: int
) -> list[Measured] | list[None]:
    """Passages (rigs x parts x passages) of parts of ``known`` lengths through the rigs of a block."""
    if not known.size:
        return [None] * len(scenarios)
    layout = Calibration(known.size, AS_USUAL.passages).layout
    rigs = replace(streams, trials=Layout(on_a_rig, 1).rigs(streams.trials))
    others = Renamed(rigs, "reference: ")
    made: dict[frozenset[tuple[str, Level]], Draw] = {}
    size = rigs.trials * layout.each
    for levels in (_levels(scenario) for scenario in scenarios):
        nested = Nested(SameRigs(rigs, others, dict(levels)), layout, dict(levels), size)
        made.setdefault(levels, Repeated(nested, 1))
    lengths = np.tile(np.repeat(known, layout.passages), rigs.trials)
    return run_together(scenarios, [made[_levels(s)] for s in scenarios], lengths, quantised=True)


def run_together(
    scenarios: Sequence[Scenario], draw: Draw | Sequence[Draw], lengths: Array, *, quantised: bool
) -> list[Measured]:
    """Run rigs of one `motion_key` through the pipeline with one solution of the equation of motion.

    ``lengths`` (n,) of the part in each trial, m; its mass is in proportion. ``draw``: one for all,
    or each rig's own, of which the motion is drawn alike. The motion is
    query once for the positions of all rigs; each position is a node of the integration, so
    that its time is as good as that of a rig run alone (1e-9 relative).
    """
    draws = [draw] * len(scenarios) if not isinstance(draw, Sequence) else draw
    query = [
        motion_query(scenario, own, part_values(scenario, own, lengths))
        for scenario, own in zip(scenarios, draws, strict=True)
    ]
    columns: dict[str, slice] = {}
    blocks: list[Array] = []
    for scenario, one in zip(scenarios, query, strict=True):
        key = _text(scenario, ("sensor",))
        if key not in columns:
            first = sum(block.shape[1] for block in blocks)
            columns[key] = slice(first, first + one.positions.shape[1])
            blocks.append(one.positions)
    rig = query[0].rig
    motion = passage(rig.part, rig.path, rig.forces, np.concatenate(blocks, axis=1))
    return [
        measure(
            scenario, own, one, _own(motion, columns[_text(scenario, ("sensor",))], one), quantised=quantised
        )
        for scenario, own, one in zip(scenarios, draws, query, strict=True)
    ]


def part_values(scenario: Scenario, draw: Draw, lengths: Array) -> dict[str, Scalar]:
    """The part's length, and its mass in proportion to it, for each trial."""
    values: dict[str, Scalar] = {"part.length": lengths}
    if scenario.part.mass is not None:
        ratio = lengths / scenario.part.length.nominal
        values["part.mass"] = scenario.part.mass.sample(draw, "part.mass") * ratio
    return values


def _own(motion: Passage, columns: slice, query: MotionQuery) -> Passage:
    """The motion as one rig asked for it: a part may stop past its gates and before another's."""
    time = motion.time[:, columns]
    passed = (~np.isnan(time) | np.isnan(query.positions)).all(axis=1)
    stops = np.isin(motion.outcome, (Outcome.STOPPED, Outcome.RAN_BACK))
    outcome = np.where(stops & passed, Outcome.MEASURED, motion.outcome).astype(np.int64)
    return replace(motion, time=time, speed=motion.speed[:, columns], outcome=outcome)
