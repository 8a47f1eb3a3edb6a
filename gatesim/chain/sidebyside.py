"""Motions of one kind side by side, as one batch: a step costs nearly as much for one trial as for many."""

from collections.abc import Generator, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeVar

import numpy as np

from gatesim.chain.alike import OF_A_BODY, content, digest
from gatesim.chain.once import once
from gatesim.ground.arrays import Array, Rows, Scalar, take, trial_count
from gatesim.motion import Belt, Force, Passage, Path, belt_among
from gatesim.motion.path import Body

T = TypeVar("T")


@dataclass(frozen=True)
class Question:
    """What `gatesim.motion.passage` is asked for n trials; ``positions`` (n, p) in m."""

    part: Body
    path: Path
    forces: tuple[Force | Belt, ...]
    positions: Array

    def of(self, rows: Rows) -> "Question":
        """The same for some of the trials."""
        forces = tuple(take(force, rows) for force in self.forces)
        return Question(take(self.part, rows), take(self.path, rows), forces, self.positions[rows])


@dataclass(frozen=True)
class Mover:
    """All that the motion may know of a part; see `gatesim.motion.path.Body`."""

    length: Scalar
    mass: Scalar
    inertia_factor: Scalar
    round: bool


def mover(part: Body) -> Mover:
    """What the motion may know of a part, and nothing else."""
    return Mover(**{name: getattr(part, name) for name in OF_A_BODY})


def answered(questions: Sequence[Question]) -> list[Passage]:
    """The motion that answers each of the questions, those of one kind solved as one batch.

    No trial depends on the others that are solved with it, so that nothing changes but the work.
    """
    kinds: dict[bytes, list[int]] = {}
    for number, question in enumerate(questions):
        kinds.setdefault(kind_of(question), []).append(number)
    found: dict[int, Passage] = {}
    for numbers in kinds.values():
        found.update(zip(numbers, _solved([questions[number] for number in numbers]), strict=True))
    return [found[number] for number in range(len(questions))]


Asking = Generator[list[Question], list[Passage], T]
"""Work that asks for motions now and then, and goes on with the answers."""


def in_step(works: Sequence[Asking[T]]) -> list[T]:
    """What comes out of each work; what all ask for at a time is solved side by side."""
    ended: dict[int, T] = {}
    answers: dict[int, list[Passage] | None] = dict.fromkeys(range(len(works)))
    while answers:
        asked: dict[int, list[Question]] = {}
        for number, answer in answers.items():
            try:
                asked[number] = next(works[number]) if answer is None else works[number].send(answer)
            except StopIteration as end:
                ended[number] = end.value
        motions = iter(answered([question for questions in asked.values() for question in questions]))
        answers = {number: [next(motions) for _ in questions] for number, questions in asked.items()}
    return [ended[number] for number in range(len(works))]


def kind_of(question: Question) -> bytes:
    """Equal for questions that differ in nothing but numbers, of which every trial may have its own."""
    pieces = [repr(question.part.round).encode()]
    items: tuple[Any, ...] = (question.path, *question.forces)
    for item in items:
        pieces.append(type(item).__qualname__.encode())
        for field in fields(item):
            value = getattr(item, field.name)
            pieces += [b"number"] if _numeric(value) else content(value)
    return digest(pieces)


def _numeric(value: Any) -> bool:
    return isinstance(value, float | np.ndarray)


def _solved(questions: Sequence[Question]) -> list[Passage]:
    """The same for questions of one kind."""
    if len(questions) == 1:
        (one,) = questions
        return [once(one.part, one.path, one.forces, one.positions)]
    sizes = [_trials(question) for question in questions]
    columns = max(question.positions.shape[1] for question in questions)
    # the last position over and over, which changes nothing, so that all have as many
    positions = [
        np.pad(
            np.broadcast_to(q.positions, (n, q.positions.shape[1])),
            ((0, 0), (0, columns - q.positions.shape[1])),
            mode="edge",
        )
        for q, n in zip(questions, sizes, strict=True)
    ]
    part = _stacked([mover(question.part) for question in questions], sizes)
    path = _stacked([question.path for question in questions], sizes)
    forces = tuple(
        _stacked(alike, sizes) for alike in zip(*(question.forces for question in questions), strict=True)
    )
    found = once(part, path, forces, np.concatenate(positions))
    starts = np.cumsum([0, *sizes])
    return [
        _own(take(found, slice(start, start + n)), question)
        for question, start, n in zip(questions, starts.tolist(), sizes, strict=False)
    ]


def _trials(question: Question) -> int:
    return max(trial_count(mover(question.part), question.path, *question.forces), len(question.positions))


def _stacked(items: Sequence[Any], sizes: Sequence[int]) -> Any:
    """The trials of all items, ``sizes`` each, as one; what is the same number in all stays shared."""
    changed = {}
    for field in fields(items[0]):
        values = [getattr(item, field.name) for item in items]
        first = values[0]
        same = not any(isinstance(v, np.ndarray) and v.ndim for v in values)
        if _numeric(first) and not (same and all(v == first for v in values)):
            each = [np.broadcast_to(np.asarray(v, float), (n,)) for v, n in zip(values, sizes, strict=True)]
            changed[field.name] = np.concatenate(each)
    return replace(items[0], **changed) if changed else items[0]


def _own(rows: Passage, question: Question) -> Passage:
    asked = slice(question.positions.shape[1])
    belt = belt_among(question.forces)
    return replace(rows, time=rows.time[:, asked], speed=rows.speed[:, asked], belt=belt)
