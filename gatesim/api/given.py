"""Values as a caller may give them: a number in SI, text with a unit, or a pint quantity."""

from collections.abc import Mapping, Sequence
from typing import Any

from gatesim.ground.errors import InputError
from gatesim.ground.quantity import parse, to_si

Given = Any
"""A float in SI, text such as "120 mm", or a pint quantity."""


def si(value: Given, unit: str, name: str, example: str) -> float:
    """The value in ``unit``. Raises InputError that names it for a text that cannot be read."""
    if not isinstance(value, str):
        return float(to_si(value, unit))
    try:
        return parse(value, unit)[0]
    except ValueError as reason:
        raise InputError(f"--{name}: given {value!r} ({reason}), expected {example}") from None


def length(value: Given, name: str) -> float:
    """A length in m."""
    return si(value, "m", name, 'a length such as "179.5 mm"')


def not_negative(value: Given, name: str) -> float:
    """A length of 0 or more in m. Raises InputError for less."""
    found = length(value, name)
    if found < 0.0:
        raise InputError(f"--{name}: given {value!r}, expected 0 or more")
    return found


def positive(value: Given, unit: str, name: str) -> float:
    """A value above 0. Raises InputError for any other."""
    example = "1.5 m/s" if unit == "m/s" else "120 mm"
    found = si(value, unit, name, f'text such as "{example}"')
    if not found > 0.0:
        raise InputError(f"--{name}: given {value!r}, expected a value above 0")
    return found


def span(values: Sequence[Given] | None, unit: str, name: str) -> tuple[float, float] | None:
    """Two values above 0, the lesser first; None stays None. Raises InputError."""
    if values is None:
        return None
    low, high = (positive(value, unit, name) for value in values)
    if low >= high:
        raise InputError(f"--{name}: given {values[0]!r} and {values[1]!r}, expected the lesser value first")
    return low, high


def renamed(columns: Mapping[str, str] | Sequence[str]) -> dict[str, str]:
    """Header -> column name, from a mapping or from texts "HEADER=NAME". Raises InputError."""
    if isinstance(columns, Mapping):
        return dict(columns)
    found = {}
    for pair in columns:
        header, equals, name = pair.rpartition("=")
        if not equals:
            raise InputError(f'--column: given {pair!r}, expected HEADER=NAME such as "L=length [mm]"')
        found[header] = name
    return found
