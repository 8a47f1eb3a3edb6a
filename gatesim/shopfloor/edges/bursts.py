"""A part's own edges, and the extra ones that follow each of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array

APART = 2.0
"""A part's own edges are to lie so many times further apart than extra ones, for the two to be told apart."""


@dataclass(frozen=True)
class Bursts:
    """Edges of one gate in one passage: ``own`` (k,) s begin the bursts, ``pulses`` (k,) follow each.

    ``waits`` (m,) s: times from edge to edge within the bursts.
    """

    own: Array
    pulses: Array
    waits: Array


def bursts(edges: Sequence[float], own: int) -> Bursts | None:
    """Cut edges (s) at their ``own`` - 1 longest waits; None where that makes no sense.

    Every burst is one edge of the part and whole pulses, so that its number of edges is odd; and no
    wait within a burst may come near to one between bursts.
    """
    times = np.array(edges)
    if times.size < own:
        return None
    waits = np.diff(times)
    order = np.argsort(waits)
    between = np.sort(order[waits.size - (own - 1) :])
    within = waits[order[: waits.size - (own - 1)]]
    if within.size and waits[between].min(initial=np.inf) < APART * within.max():
        return None
    starts = np.concatenate([[0], between + 1])
    sizes = np.diff(np.append(starts, times.size))
    if np.any(sizes % 2 == 0):
        return None
    return Bursts(times[starts], (sizes - 1) / 2.0, within)
