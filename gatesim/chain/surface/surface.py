"""A motion to hand to the pipeline that answers from sheets, and asks the equation of motion for the rest."""

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gatesim.chain.once import once
from gatesim.chain.sidebyside import Question, kind_of
from gatesim.chain.surface.coordinates import items_of
from gatesim.chain.surface.fit import Sample, sheets_of
from gatesim.chain.surface.sheet import Sheet
from gatesim.ground.arrays import Array, Flags
from gatesim.motion import Belt, Force, Passage, Path, belt_among
from gatesim.part import Part


@dataclass(frozen=True)
class Surface:
    """A `gatesim.chain.pipeline.Move` for trials of one rig.

    A trial is answered by the first of ``sheets`` on which it lies, else by the equation of motion; which,
    and with which bits, does not depend on the other trials. Times are within `fit.WITHIN` of the equation of
    motion wherever that was tried, speeds are NaN where they were not wanted, and of what else a passage has
    only the outcome is known. ``kind``: of motions that it answers for.
    """

    kind: bytes
    sheets: tuple[Sheet, ...]

    def __call__(self, part: Part, path: Path, forces: tuple[Force | Belt, ...], positions: Array) -> Passage:
        """See `gatesim.motion.passage`; positions (n, p)."""
        asked = Question(part, path, forces, positions)
        if kind_of(asked) != self.kind or positions.shape[1] != self.sheets[0].coordinates.places.shape[1]:
            return once(part, path, forces, positions)
        time, speed = np.full(positions.T.shape, np.nan), np.full(positions.T.shape, np.nan)
        left = np.arange(len(positions))
        for sheet in self.sheets:
            some = asked if left.size == len(positions) else asked.of(left)
            left = left[~_answered(sheet, some, left, time, speed)]
            if not left.size:
                return Passage.known(time.T, speed.T)
        return _completed(Passage.known(time.T, speed.T), asked.of(left), left)


def _answered(sheet: Sheet, asked: Question, rows: NDArray[np.intp], time: Array, speed: Array) -> Flags:
    """Fill in ``rows`` of times and speeds (p, n) as far as the sheet reaches; which of them it did."""
    x, z, here = sheet.coordinates.of(items_of(asked), asked.positions)
    here &= sheet.holds_at(x)
    found = sheet.values(x[:, here], z[:, here])
    time[:, rows[here]] = found[: len(time)]
    if len(found) > len(time):
        speed[:, rows[here]] = found[len(time) :]
    return here


def _completed(found: Passage, asked: Question, rows: NDArray[np.intp]) -> Passage:
    """With the equation of motion for these rows."""
    solved = once(asked.part, asked.path, asked.forces, asked.positions)
    changed: dict[str, Any] = {}
    for field in fields(Passage):
        old, own = getattr(found, field.name), getattr(solved, field.name)
        if field.name == "belt" or field.name.startswith("node_"):
            continue
        new = np.array(old)
        new[rows] = own
        changed[field.name] = new
    return replace(found, **changed)


def surface_of(samples: Iterator[Sample]) -> Surface | None:
    """A surface with a sheet for each of the samples that is worth one; None where the first is not."""
    first = next(samples)
    if belt_among(first.asked.forces) is not None:
        return None
    sheets = sheets_of(first, samples)
    return Surface(kind_of(first.asked), tuple(sheets)) if sheets else None
