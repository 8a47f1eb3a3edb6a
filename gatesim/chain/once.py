"""Trials that move alike, one after another, solved once: passages of one part on one rig often do."""

from collections.abc import Iterator, Sequence
from dataclasses import fields, replace
from typing import Any

import numpy as np

from gatesim.chain.alike import OF_A_BODY
from gatesim.ground.arrays import Array, Flags, take
from gatesim.motion import Belt, Force, Passage, Path, belt_among, passage
from gatesim.motion.path import Body

WORTH = 0.9
"""Share of the trials that may be left for it to be worth the copying."""


def once(part: Body, path: Path, forces: Sequence[Force | Belt], positions: Array) -> Passage:
    """As `gatesim.motion.passage`, with the same bits: no trial depends on the others.

    positions: (n, p). Trials are compared with the one before, so that nothing need be sorted.
    """
    new = _new(_each(part, path, forces, positions), len(positions))
    rows = np.flatnonzero(new)
    if rows.size > WORTH * new.size:
        return passage(part, path, forces, positions)
    chosen = tuple(take(force, rows) for force in forces)
    solved = passage(take(part, rows), take(path, rows), chosen, positions[rows])
    back = np.cumsum(new) - 1
    # the transposes, because the nodes lie in memory one node after the other
    every: dict[str, Any] = {
        field.name: np.take(getattr(solved, field.name).T, back, axis=-1, mode="clip").T
        for field in fields(Passage)
        if field.name != "belt"
    }
    return replace(solved, **every, belt=belt_among(forces))


def _each(part: Body, path: Path, forces: Sequence[Force | Belt], positions: Array) -> Iterator[Array]:
    """All that a motion depends on and that may differ from trial to trial, (n,) each."""
    items: tuple[Any, ...] = (path, *forces)
    values = [getattr(part, name) for name in OF_A_BODY]
    values += [getattr(item, field.name) for item in items for field in fields(item)]
    yield from (value for value in values if isinstance(value, np.ndarray) and value.ndim)
    yield from positions.T


def _new(each: Iterator[Array], n: int) -> Flags:
    """Trials (n,) that differ from the one before."""
    new = np.zeros(n, bool)
    new[:1] = True
    for values in each:
        bits = np.ascontiguousarray(values, float).view(np.int64)  # so that NaN is like NaN
        new[1:] |= bits[1:] != bits[:-1]
        if np.count_nonzero(new) > WORTH * n:
            break
    return new
