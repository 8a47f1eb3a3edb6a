"""Which numbers of a motion vary from trial to trial, how far, and which of them go together."""

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from gatesim.chain.sidebyside import Question, mover
from gatesim.ground.arrays import Array, Flags, Scalar, first_of
from gatesim.motion import Path

Key = tuple[int, str]
"""A number of a motion: which of part, path and forces, and the field."""

DRIVE: Key = (1, "drive")
"""Acceleration (m/s^2) along the path by weight less friction: all that most motions know of the path."""

OF_DRIVE = ("slope", "friction", "gravity")
STEEPEST = 0.1
"""Cosine of the slope from which on friction can stand for the drive."""

ROOM = 0.02
"""Part by which ranges are wider than the sum of what each quantity does by itself."""

SAME = 1e-9
"""Relative distance within which a number follows from others."""


@dataclass(frozen=True)
class Coordinates:
    """Coordinates -1..1 in place of the numbers that vary, and the other way round.

    items: part, path and forces with every number as in the middle trial. free: numbers whose logarithms are
    a coordinate, or themselves where ``plain``: (2, d) middle and half-width in ``ranges``. bound: numbers
    that are products of powers of free ones, with the logarithm offset + powers @ log(free). places: middle
    and half-width in m, (2, p), of the positions.
    """

    items: tuple[Any, ...]
    free: tuple[Key, ...]
    plain: Flags
    ranges: Array
    bound: tuple[tuple[Key, float, Array], ...]
    places: Array

    @property
    def merged(self) -> bool:
        """Whether the drive stands for what the path has of it."""
        return DRIVE in self.free

    def ordered(self, order: Sequence[int]) -> "Coordinates":
        """The same in another order."""
        some = list(order)
        bound = tuple((key, offset, powers[some]) for key, offset, powers in self.bound)
        free = tuple(self.free[i] for i in some)
        return replace(self, free=free, plain=self.plain[some], ranges=self.ranges[:, some], bound=bound)

    def of(self, items: Sequence[Any], positions: Array) -> tuple[Array, Array, Flags]:
        """Coordinates (d, n) and (p, n) of trials, and which of them lie within; of items like its own."""
        n, every = len(positions), numbers(items)
        logs = _logs([_value(every, key) for key in self.free], self.plain, n)
        x = (logs - self.ranges[0][:, None]) / self.ranges[1][:, None]
        known: Flags = np.asarray((np.abs(x) <= 1.0).all(axis=0))
        for (key, *_), law in zip(self.bound, self._laws(logs), strict=True):
            known &= np.abs(np.log(every[key]) - law) <= SAME
        elsewhere = {*self.free, *(key for key, *_ in self.bound)}
        elsewhere |= {(1, name) for name in OF_DRIVE} if self.merged else set()
        for key, value in numbers(self.items).items():
            if key not in elsewhere:
                known &= (every[key] == value) | np.isnan(value) & np.isnan(every[key])
        middle, half = self.places[:, :, None]
        with np.errstate(invalid="ignore"):  # a position that is not asked for is NaN
            off = positions.T - middle
            known &= (np.abs(off) <= half).all(axis=0)
        return x, off / np.where(half > 0.0, half, 1.0), known

    def at(self, x: Array, z: Array) -> Question:
        """The motion at coordinates x (d, n), asked for all positions at z (n,) of their ranges."""
        logs = self.ranges[0][:, None] + self.ranges[1][:, None] * x
        values = np.where(self.plain[:, None], logs, np.exp(np.where(self.plain[:, None], 0.0, logs)))
        given: dict[Key, Scalar] = dict(zip(self.free, values, strict=True))
        given |= {key: np.exp(law) for (key, *_), law in zip(self.bound, self._laws(logs), strict=True)}
        if self.merged:
            path: Path = self.items[1]
            drive = given.pop(DRIVE)
            friction = (np.sin(path.slope) - drive / path.gravity) / np.abs(np.cos(path.slope))
            given[1, "friction"] = np.asarray(friction)
        part, path, *forces = (
            replace(item, **{name: value for (of, name), value in given.items() if of == number})
            for number, item in enumerate(self.items)
        )
        positions = self.places[0] + np.outer(z, self.places[1])
        return Question(part, path, tuple(forces), positions)

    def _laws(self, logs: Array) -> list[Array]:
        """Logarithms (n,) of the bound numbers, from those of the free ones (d, n)."""
        found = []
        for _, offset, powers in self.bound:
            total = np.full(logs.shape[1], offset)
            for power, log in zip(powers.tolist(), logs, strict=True):
                if power:
                    total += power * log
            found.append(total)
        return found


def _logs(values: Sequence[Scalar], plain: Flags, n: int) -> Array:
    """Logarithms (d, n) of numbers, themselves where ``plain``; NaN where there is none."""
    found = np.empty((len(values), n))
    with np.errstate(invalid="ignore", divide="ignore"):
        for row, value, as_it_is in zip(found, values, plain, strict=True):
            row[:] = value if as_it_is else np.log(value)
    return found


def numbers(items: Sequence[Any]) -> dict[Key, Scalar]:
    """Every number of part, path and forces; one a trial, or one for all."""
    found: dict[Key, Scalar] = {}
    for number, item in enumerate(items):
        for field in fields(item):
            value = getattr(item, field.name)
            if isinstance(value, float | np.ndarray):
                found[number, field.name] = value
    return found


def items_of(question: Question) -> tuple[Any, ...]:
    """Part, path and forces of a motion, of the part what moves it."""
    return (mover(question.part), question.path, *question.forces)


def _value(every: dict[Key, Scalar], key: Key) -> Scalar:
    if key != DRIVE or key in every:
        return every[key]
    slope, friction, gravity = (every[1, name] for name in OF_DRIVE)
    return np.asarray(gravity * (np.sin(slope) - friction * np.abs(np.cos(slope))))


def coordinates_of(sample: Question, quantities: int, *, merge: bool) -> Coordinates | None:
    """Coordinates of a rig, from a sample of its trials; None where they cannot be told.

    sample: first the middle trial, then for each of so many ``quantities`` one at either end of its range,
    then others anywhere within. merge: let the drive stand for slope, friction and gravity.
    """
    items = items_of(sample)
    every, n = numbers(items), len(sample.positions)
    vary = [key for key, value in every.items() if np.ndim(value) and np.ptp(value) > 0.0]
    of_drive = [key for key in vary if key[0] == 1 and key[1] in OF_DRIVE]
    if merge:
        if len(of_drive) < 2 or not _mergeable(items[1]):
            return None
        vary = [DRIVE, *(key for key in vary if key not in of_drive)]
    if not np.isfinite(sample.positions).all():
        return None
    values = [np.broadcast_to(_value(every, key), (n,)) for key in vary]
    plain = np.array([_of_path(key) or np.min(value) <= 0.0 for key, value in zip(vary, values, strict=True)])
    logs = _logs(values, plain, n)
    free = _independent(logs, plain)
    bound = _bound(vary, logs, free)
    middle = tuple(
        replace(
            item,
            **{name: first_of(value) for (of, name), value in every.items() if of == i and np.ndim(value)},
        )
        for i, item in enumerate(items)
    )
    key = tuple(vary[i] for i in free)
    ranges, places = _range(logs[free], quantities), _range(sample.positions.T, quantities)
    return Coordinates(middle, key, plain[free], ranges, bound, places)


def _of_path(key: Key) -> bool:
    """Whether its logarithm says nothing: friction may be next to none, forces act by their strength."""
    return key[0] == 1 and key != DRIVE


def _mergeable(path: Path) -> bool:
    """Whether moving trials know of the path its drive alone, and friction can stand for it."""
    return path.static_friction is None and float(np.min(np.abs(np.cos(path.slope)))) > STEEPEST


def _range(values: Array, quantities: int) -> Array:
    """Middle and half-width (2, k) of what is the sum of one function a quantity; values (k, n)."""
    steps = values[:, 1 : 2 * quantities + 1] - values[:, :1]
    each = steps.reshape(len(values), quantities, 2)
    below, above = (
        np.minimum(each.min(axis=2), 0.0).sum(axis=1),
        np.maximum(each.max(axis=2), 0.0).sum(axis=1),
    )
    return np.array([values[:, 0] + (below + above) / 2.0, (above - below) / 2.0 * (1.0 + ROOM)])


def _independent(logs: Array, plain: Flags) -> list[int]:
    """Rows of logs (k, n) of which the others are linear combinations; of those that are plain, all."""
    rest = logs - logs.mean(axis=1, keepdims=True)
    rest = rest / np.linalg.norm(rest, axis=1, keepdims=True)
    found = np.flatnonzero(plain).tolist()
    rest[found] = 0.0
    while rest.size and (sizes := np.linalg.norm(rest, axis=1)).max() > np.sqrt(SAME):
        number = int(sizes.argmax())
        found.append(number)
        along = rest[number] / sizes[number]
        rest = rest - np.outer(rest @ along, along)
    return sorted(found)


def _bound(vary: Sequence[Key], logs: Array, free: Sequence[int]) -> tuple[tuple[Key, float, Array], ...]:
    others = [number for number in range(len(vary)) if number not in free]
    if not others:
        return ()
    table = np.vstack([np.ones(logs.shape[1]), logs[list(free)]]).T
    found = np.linalg.lstsq(table, logs[others].T, rcond=None)[0]
    found[1:] = np.where(np.abs(found[1:]) < SAME, 0.0, found[1:])
    return tuple((vary[number], float(law[0]), law[1:]) for number, law in zip(others, found.T, strict=True))
