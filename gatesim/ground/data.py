"""Results as plain data, what JSON can hold: one writer for every result class."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

Json = dict[str, Any]

Keys = Mapping[str, str | None]
"""How a result class is written where its fields alone will not do.

Attribute (a field or a property) -> key: these come first, in this order, or "*" marks where the
fields stand that are not named. None leaves a field out, an empty key merges the mapping that the
attribute gives. A class may instead have a text as its ``KEYS``, which names the one attribute that
stands for the whole.
"""


def data_of(value: Any) -> Any:
    """Dataclasses, arrays and tuples as the mappings, lists and numbers that JSON can hold; SI.

    A dataclass is a mapping of its fields, as its ``KEYS`` (see `Keys`) say if it has any: a
    field that is not named there follows under its own name, so that a new one appears by
    itself. NaN becomes null, infinity a word.
    """
    if is_dataclass(value) and not isinstance(value, type):
        keys: Keys | str = getattr(type(value), "KEYS", {})
        return data_of(getattr(value, keys)) if isinstance(keys, str) else dict(_items(value, keys))
    if isinstance(value, Mapping):
        return {key: data_of(item) for key, item in value.items()}
    if isinstance(value, tuple | list):
        return [data_of(item) for item in value]
    if isinstance(value, np.ndarray | np.generic):
        return data_of(value.tolist())
    return number(value) if isinstance(value, float) else value


def _items(value: Any, keys: Mapping[str, str | None]) -> Iterator[tuple[str, Any]]:
    following = {field.name: field.name for field in fields(value) if field.name not in keys}
    named = list(keys.items())
    place = list(keys).index("*") if "*" in keys else len(named)
    for name, key in [*named[:place], *following.items(), *named[place + 1 :]]:
        if key:
            yield key, data_of(getattr(value, name))
        elif key == "":
            yield from (data_of(getattr(value, name)) or {}).items()


def number(value: float) -> float | str | None:
    """A float that JSON can hold."""
    if math.isnan(value):
        return None
    return value if math.isfinite(value) else "infinite"
