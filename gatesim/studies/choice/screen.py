"""Screening by physics: one nominal passage of each part length, and why a rig fails."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.account.outcomesentence import explain_outcome
from gatesim.chain.pipeline import Measured
from gatesim.chain.together import Case, run_all
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal
from gatesim.ground.outcome import Outcome
from gatesim.scenario import Scenario
from gatesim.studies.choice.model import WantedTable
from gatesim.studies.choice.shared import part_values


def room_refusal(scenario: Scenario, wanted: WantedTable) -> str:
    """Why the rig takes too much room, or nothing.

    It reaches from the trailing end of the longest part at release to its leading end when it
    has left the last gate, or to the end of a brake.
    """
    gate, longest = scenario.gate, wanted.longest.nominal
    last = gate.first.nominal + (gate.spacing if gate.rearm is None else gate.rearm).nominal + longest
    figures = [figure for force in scenario.forces if (figure := force.drawn()) is not None]
    last = max([last, *(figure.end for figure in figures if figure.end is not None)])
    slope, reach = scenario.path.slope.nominal, last + longest
    for what, limit, size in (
        ("floor space", wanted.floor_space, reach * math.cos(slope)),
        ("headroom", wanted.headroom, reach * abs(math.sin(slope))),
    ):
        if limit is not None and size > limit.nominal * (1.0 + 1e-12):
            return f"{what}: it takes {size:.3g} m, and there is {limit.text}"
    return ""


def passage_refusals(
    several: Sequence[tuple[Scenario, Measured]], lengths: Array, wanted: WantedTable
) -> list[str]:
    """Why, in each rig, a part of one of the lengths (k,) is not measured or the next comes too soon, if so.

    From nominal passages of parts of all lengths. What happened to the first that is not measured is told
    by its passage alone, in all rigs at once.
    """
    wrong = [np.flatnonzero(passed.outcome != Outcome.MEASURED) for _, passed in several]
    first = {number: int(at[0]) for number, at in enumerate(wrong) if at.size}
    one = Nominal(1)
    cases = [
        Case(several[number][0], one, part_values(several[number][0], one, lengths[at : at + 1]))
        for number, at in first.items()
    ]
    alone = dict(zip(first, run_all(cases), strict=True)) if cases else {}
    refusals = []
    for number, (scenario, passed) in enumerate(several):
        if number in first:
            at = first[number]
            outcome = Outcome(int(passed.outcome[at]))
            happened = alone[number]
            why = explain_outcome(scenario, happened) if happened.outcome[0] == outcome else ""
            refusals.append(f"{outcome.word}: with {1e3 * lengths[at]:.4g} mm. {why}".rstrip())
        else:
            refusals.append(_cycle_refusal(busy_time(passed), lengths, wanted))
    return refusals


def _cycle_refusal(busy: Array, lengths: Array, wanted: WantedTable) -> str:
    stuck = np.flatnonzero(np.isnan(busy))
    if stuck.size:
        return (
            f"no re-arm: with {1e3 * lengths[stuck[0]]:.4g} mm the counter sees nothing that ends the cycle"
        )
    return _feed_refusal(busy, lengths, wanted)


def busy_time(passed: Measured) -> Array:
    """Time from a part's leading edge at gate 1 until the counter takes the next, (n,) s."""
    cycles = passed.counted.cycles
    busy: Array = cycles.rearm[:, 0] - cycles.start[:, 0]
    return busy


def _feed_refusal(busy: Array, lengths: Array, wanted: WantedTable) -> str:
    if wanted.feed_rate is None:
        return ""
    interval = 1.0 / wanted.feed_rate.nominal
    late: NDArray[np.intp] = np.flatnonzero(~(busy < interval))
    if not late.size:
        return ""
    return (
        f"feed rate: with {1e3 * lengths[late[0]]:.4g} mm the counter is re-armed {busy[late[0]]:.3g} s "
        f"after the part reaches gate 1, and the next part follows after {interval:.3g} s"
    )


def formula_refusal(name: str, missing: str, reading: Array, lengths: Array) -> str:
    """Why the formula in charge reads nothing, or nothing."""
    if missing:
        return f"formula: {name} needs what this rig does not give ({missing.replace('_', ' ')})"
    unread = np.flatnonzero(np.isnan(reading))
    if unread.size:
        return f"formula: {name} has no reading with {1e3 * lengths[unread[0]]:.4g} mm"
    return ""
