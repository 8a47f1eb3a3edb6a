"""Which trials move alike: all that a motion depends on, what is shared of it and what is a trial's own."""

import json
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, fields, is_dataclass
from hashlib import blake2b
from typing import Any

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion import Belt, Force, Path
from gatesim.motion.path import Body
from gatesim.scenario.model import Scenario

NOT_MOTION = ("title", "note", "sensor", "filter", "counter", "formula", "requirement", "follower")
"""Tables of a scenario that are known not to touch the motion past the gates; any other may."""

OF_A_BODY = tuple(name for name, member in vars(Body).items() if isinstance(member, property))
"""All that forces and path may know of a part."""


@dataclass(frozen=True)
class MotionInputs:
    """What the motion of n trials depends on beside the positions asked for.

    ``shared``: everything that all trials have in common, as bytes; ``each``: arrays (n,) of the rest.
    """

    shared: bytes
    each: tuple[Array, ...]

    @property
    def digest(self) -> bytes:
        """Equal for trials that move alike, one by one."""
        return digest([self.shared, *(np.ascontiguousarray(values).data for values in self.each)])


def motion_inputs(part: Body, path: Path, forces: Sequence[Force | Belt]) -> MotionInputs:
    """Take apart a part, of which only what moves it counts, its path and what acts on it."""
    shared: list[bytes] = []
    each: list[Array] = []
    named = [(name, getattr(part, name)) for name in OF_A_BODY]
    items: tuple[Any, ...] = (path, *forces)
    for item in items:
        named.append(("of", type(item).__qualname__))
        named += [(field.name, getattr(item, field.name)) for field in fields(item)]
    for name, value in named:
        if isinstance(value, np.ndarray) and value.ndim:
            shared.append(f"{name} of each trial".encode())
            each.append(value)
        else:
            shared += [name.encode(), *content(value)]
    return MotionInputs(digest(shared), tuple(each))


def digest(pieces: Iterable[bytes | memoryview]) -> bytes:
    """Of bytes one after another, and of where each begins."""
    every = [bytes(piece) for piece in pieces]
    lengths = ",".join(str(len(piece)) for piece in every).encode()
    return blake2b(b"".join([*every, lengths]), digest_size=16).digest()


def _array(array: Array) -> bytes:
    return repr(array.shape).encode() + array.tobytes()


def content(value: Any, array: Callable[[Array], bytes] = _array) -> Iterator[bytes]:
    """The content of numbers, text, arrays (told by ``array``), and of dataclasses and tuples of them."""
    if isinstance(value, np.ndarray):
        yield array(value)
    elif is_dataclass(value):
        yield type(value).__qualname__.encode()
        for field in fields(value):
            yield from content(getattr(value, field.name), array)
    elif isinstance(value, tuple):
        yield str(len(value)).encode()
        for inner in value:
            yield from content(inner, array)
    else:
        yield repr(value).encode()


def motion_key(scenario: Scenario, *, but: Collection[str] = (), told_apart_by: Collection[str] = ()) -> str:
    """Equal for scenarios whose parts move alike, told by their tables, but for those of ``but``."""
    apart = {*NOT_MOTION, *but} - {*told_apart_by}
    return tables_text(scenario, [key for key in Scenario.model_fields if key not in apart])


def tables_text(scenario: Scenario, tables: Iterable[str]) -> str:
    """Tables of a scenario as it was read, as text."""
    return json.dumps([scenario.raw.get(table) for table in tables], sort_keys=True, default=str)
