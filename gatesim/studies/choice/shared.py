"""What candidates share: the draws, and the motion of those that differ only past it."""

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from gatesim.chain.alike import motion_key, tables_text
from gatesim.chain.pipeline import Measured
from gatesim.chain.readonce import ReadOnce
from gatesim.chain.reference import AS_USUAL, Calibration
from gatesim.chain.together import Case, Switched, run_all
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Repeated, Streams
from gatesim.ground.level import Level
from gatesim.ground.nested import Layout, Nested, SameRigs
from gatesim.scenario import Scenario
from gatesim.studies.draws import Renamed


def group_key(scenario: Scenario) -> str:
    """Equal for scenarios whose parts move alike and are asked for at almost the same positions.

    A roller that the part turns stands still past the last position asked for, so that a rig
    with one shares its motion with nobody.
    """
    if scenario.counter.source.turned_by == "part":
        return motion_key(scenario, told_apart_by=("sensor", "filter", "counter"))
    return motion_key(scenario)


def rig_key(scenario: Scenario) -> str:
    """Equal for scenarios that differ in their formula only."""
    return tables_text(
        scenario, [key for key in Scenario.model_fields if key not in ("formula", "title", "note")]
    )


@dataclass(frozen=True)
class Memory:
    """What rigs that are run one after another need not find out again: of their sensors, and their draws."""

    switched: Switched = field(default_factory=lambda: Switched(ReadOnce()))
    draws: dict[Hashable, Draw] = field(default_factory=dict)
    parts: dict[Hashable, tuple[Draw, dict[str, Scalar]]] = field(default_factory=dict)


def repeated(
    scenarios: Sequence[Scenario],
    streams: Streams,
    lengths: int,
    on_a_rig: int,
    memory: Memory | None = None,
) -> list[Draw]:
    """Draws of each scenario, the same for every part length; so many trials in a row are of one rig.

    Scenarios that draw the same names equally often share them.
    """
    made = {} if memory is None else memory.draws
    if on_a_rig == 1:
        return [made.setdefault((streams, lengths), Repeated(streams, lengths))] * len(scenarios)
    layout = Layout(on_a_rig, 1)
    rigs = replace(streams, trials=layout.rigs(streams.trials))
    keys = [(streams, lengths, _levels(scenario)) for scenario in scenarios]
    for key in keys:
        made.setdefault(key, Repeated(Nested(rigs, layout, dict(key[2]), streams.trials), lengths))
    return [made[key] for key in keys]


def _levels(scenario: Scenario) -> frozenset[tuple[str, Level]]:
    return frozenset((name, q.per or "passage") for name, q in scenario.inputs().items() if q.spread)


def references_of(lengths: Array, how: str) -> Array:
    """Lengths (m) of the parts that a rig is calibrated with, shortest first; none for "none"."""
    if how == "none":
        return np.zeros(0)
    ends = np.array([lengths[0], lengths[-1]])
    return ends if how == "line" and lengths.size > 1 else ends.mean(keepdims=True)


def calibrations(
    scenarios: Sequence[Scenario],
    streams: Streams,
    known: Array,
    on_a_rig: int,
    memory: Memory | None = None,
) -> list[Measured]:
    """Passages (rigs x parts x passages) of parts of ``known`` lengths through the rigs of a block."""
    if not known.size:
        return []
    layout = Calibration(known.size, AS_USUAL.passages).layout
    rigs = replace(streams, trials=Layout(on_a_rig, 1).rigs(streams.trials))
    others = Renamed(rigs, "reference: ")
    size = rigs.trials * layout.each
    made = {} if memory is None else memory.draws
    keys = [("reference", streams, layout, _levels(scenario)) for scenario in scenarios]
    for key in keys:
        levels = dict(key[3])
        made.setdefault(key, Repeated(Nested(SameRigs(rigs, others, levels), layout, levels, size), 1))
    lengths = np.tile(np.repeat(known, layout.passages), rigs.trials)
    return run_together(scenarios, [made[key] for key in keys], lengths, quantised=True, memory=memory)


def run_together(
    scenarios: Sequence[Scenario],
    draw: Draw | Sequence[Draw],
    lengths: Array,
    *,
    quantised: bool,
    memory: Memory | None = None,
) -> list[Measured]:
    """Run rigs with parts of these lengths, those that move alike with one solution of the motion.

    ``lengths`` (n,) of the part in each trial, m; its mass is in proportion. ``draw``: one for all,
    or each rig's own. ``memory``: of rigs that were run before.
    """
    draws = [draw] * len(scenarios) if not isinstance(draw, Sequence) else draw
    # the very same arrays for rigs with the same parts, which are told by them
    made = {} if memory is None else memory.parts
    cases = []
    for scenario, own in zip(scenarios, draws, strict=True):
        part = scenario.part
        key = (id(own), part.length.nominal, part.mass)
        if key not in made:
            made[key] = own, part_values(scenario, own, lengths)  # while a draw is kept, no other has its id
        cases.append(Case(scenario, own, made[key][1], quantised, ends=False))
    return run_all(cases, None if memory is None else memory.switched)


def part_values(scenario: Scenario, draw: Draw, lengths: Array) -> dict[str, Scalar]:
    """The part's length, and its mass in proportion to it, for each trial."""
    values: dict[str, Scalar] = {"part.length": lengths}
    if scenario.part.mass is not None:
        ratio = lengths / scenario.part.length.nominal
        values["part.mass"] = scenario.part.mass.sample(draw, "part.mass") * ratio
    return values
