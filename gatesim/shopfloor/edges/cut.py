"""The passages of a record cut into a part's own edges and what follows them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.edges.bursts import Bursts, bursts
from gatesim.shopfloor.edges.chatter import ChatterSeen, chatter_seen
from gatesim.shopfloor.edgetimes import GatePassage, Record
from gatesim.shopfloor.log import BadRow

FINEST = 1e-9
"""Step in s below which time stamps count as exact."""


@dataclass(frozen=True)
class Cut:
    """A passage cut into bursts, by gate; ``number`` in the record, from 1."""

    number: int
    gates: Mapping[int, Bursts]


def step_of(times: Array) -> float:
    """The step in s, 1, 2 or 5 times a power of ten, that all time stamps are multiples of."""
    for power in range(0, -9, -1):
        for digit in (5.0, 2.0, 1.0):
            step = digit * 10.0**power
            off = np.abs(times / step - np.rint(times / step))
            if np.all(off * step <= 1e-12 + 1e-13 * np.abs(times).max(initial=0.0)):
                return step
    return FINEST


def cut(
    passages: Sequence[Mapping[int, GatePassage]], own: Mapping[int, int]
) -> tuple[list[Cut], list[BadRow]]:
    """Every passage in bursts; those of which a gate makes no sense, or lacks gate 1, are set apart."""
    kept, bad = [], []
    for number, passage in enumerate(passages, start=1):
        found = {gate: bursts(seen.edges, own.get(gate, 2)) for gate, seen in passage.items()}
        unclear = [gate for gate, burst in found.items() if burst is None]
        if unclear:
            gate = unclear[0]
            reason = (
                f"{len(passage[gate].edges)} edges at gate {gate} do not fall into {own.get(gate, 2)} "
                "bursts, each of an edge of the part and whole extra pulses"
            )
            bad.append(BadRow(number, reason, ""))
        elif 1 not in found:
            bad.append(BadRow(number, "gate 1 is not seen in it", ""))
        else:
            kept.append(Cut(number, {gate: burst for gate, burst in found.items() if burst is not None}))
    return kept, bad


def chatter_in(record: Record, found: Sequence[Cut]) -> ChatterSeen:
    """How the sensors of a record chatter."""
    return chatter_seen(
        [burst for passage in found for burst in passage.gates.values()], _longest(record, found)
    )


def _longest(record: Record, found: Sequence[Cut]) -> float:
    """The longest burst in s."""
    longest = 0.0
    for passage in found:
        for gate, burst in passage.gates.items():
            edges = np.array(record.passages[passage.number - 1][gate].edges)
            first = np.searchsorted(edges, burst.own)
            for start, end in pairwise([*first.tolist(), edges.size]):
                longest = max(longest, float(edges[end - 1] - edges[start]))
    return longest


def sensed_of(record: Record, found: Sequence[Cut]) -> list[tuple[Array, Array]]:
    """All edges of each gate in each passage, and the part's own ones."""
    return [
        (np.array(record.passages[passage.number - 1][gate].edges), burst.own)
        for passage in found
        for gate, burst in passage.gates.items()
    ]
