"""A motion that is solved once a trial: asked again for the same positions, it answers with the same bits."""

from collections.abc import Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np

from gatesim.chain.alike import MotionInputs, motion_inputs
from gatesim.chain.sidebyside import Question, answered
from gatesim.ground.arrays import Array
from gatesim.motion import Belt, Force, Passage, Path, belt_among
from gatesim.motion.path import Body
from gatesim.part import Part

Place = tuple[int, int]
"""Number of an answer, and the row in it."""


@dataclass
class _Answers:
    """Trials of one kind that were solved so far, each found by all that its motion depends on."""

    places: dict[bytes, Place] = field(default_factory=dict)
    passages: list[Passage] = field(default_factory=list)


@dataclass(frozen=True)
class Remembered:
    """A `gatesim.chain.pipeline.Move` that remembers, for whoever runs nearly the same rig many times.

    Trials that do not differ in what moves the part, nor in the positions, are solved once; no
    trial depends on the others that are solved with it, so that nothing changes but the work.
    """

    known: dict[bytes, _Answers] = field(default_factory=dict)
    waiting: list[Question] = field(default_factory=list)

    def expect(self, question: Question) -> None:
        """Solve this along with what is asked next: it will be asked for later, and is cheaper together."""
        self.waiting.append(question)

    def _solved(self, question: Question) -> Passage:
        others = [*self.waiting]
        self.waiting.clear()
        try:
            solved, *more = answered([question, *others])
        except ArithmeticError:  # of one that may never be asked for
            (solved,) = answered([question])
            return solved
        for each, motion in zip(others, more, strict=True):
            self.learn(each.part, each.path, each.forces, each.positions, motion)
        return solved

    def learn(
        self, part: Body, path: Path, forces: tuple[Force | Belt, ...], positions: Array, solved: Passage
    ) -> None:
        """Take up what was ``solved`` elsewhere; the rest as `__call__` has it."""
        answers, keys = self._place(motion_inputs(part, path, forces), positions)
        for row, key in enumerate(keys):
            answers.places.setdefault(key, (len(answers.passages), row))
        answers.passages.append(solved)

    def __call__(self, part: Part, path: Path, forces: tuple[Force | Belt, ...], positions: Array) -> Passage:
        """See `gatesim.motion.passage`; positions (n, p)."""
        answers, keys = self._place(motion_inputs(part, path, forces), positions)
        new = {key: row for row, key in reversed(list(enumerate(keys))) if key not in answers.places}
        rows = np.array(sorted(new.values()), np.intp)
        if rows.size:
            solved = self._solved(Question(part, path, forces, positions).of(rows))
            there = len(answers.passages)
            answers.places.update({keys[row]: (there, number) for number, row in enumerate(rows)})
            answers.passages.append(solved)
        found = _gathered(answers, [answers.places[key] for key in keys])
        return replace(found, belt=belt_among(forces))

    def _place(self, inputs: MotionInputs, positions: Array) -> tuple[_Answers, list[bytes]]:
        """The answers of this kind, and what each trial is found by there."""
        kind = inputs.shared + str(positions.shape[1]).encode()
        keys = [row.tobytes() for row in np.column_stack([*inputs.each, positions])]
        return self.known.setdefault(kind, _Answers()), keys


def _gathered(answers: _Answers, places: Sequence[Place]) -> Passage:
    """The trials at these places as one passage, with NaN for nodes that others have more of."""
    where = np.array(places)
    used = np.unique(where[:, 0])
    pieces = [answers.passages[number] for number in used]
    which = np.searchsorted(used, where[:, 0])
    found: dict[str, Any] = {}
    for name in (one.name for one in fields(Passage) if one.name != "belt"):
        values = [getattr(piece, name) for piece in pieces]
        first = values[0]
        shape = (len(where), *np.max([value.shape[1:] for value in values], axis=0).astype(int))
        gathered = np.full(shape, np.nan if first.dtype.kind == "f" else 0, first.dtype)
        for number, value in enumerate(values):
            here = which == number
            inside = (here, *(slice(size) for size in value.shape[1:]))
            gathered[inside] = value[where[here, 1]]
        found[name] = gathered
    return Passage(**found, belt=None)
