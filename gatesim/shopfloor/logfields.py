"""The fields of a row; where numbers have decimal commas between commas, put together again."""

import csv
import re
from collections.abc import Iterator, Sequence
from typing import Literal

Kind = Literal["number", "count", "other"]
"""What a column holds: numbers that may have decimals, whole ones, or anything."""

_WHOLE, _DIGITS = re.compile(r"[+-]?\d+"), re.compile(r"\d+")


def fields_of(line: str, separator: str, kinds: Sequence[Kind]) -> list[str]:
    """The fields of a line, stripped, one a column.

    A line with too many fields between commas is one with decimal commas, if its digits can be put
    together in just one way. Raises ValueError where they cannot, csv.Error for a line that is no CSV.
    """
    fields = [field.strip() for field in next(csv.reader([line], delimiter=separator, strict=True))]
    if len(fields) == len(kinds):
        return fields
    if separator == "," and len(fields) > len(kinds):
        ways = list(_ways(fields, kinds))[:2]
        if len(ways) == 1:
            return ways[0]
        if ways:
            one, other = (" and ".join(way) for way in ways)
            raise ValueError(
                f"the row may be {one}, or {other}, expected semicolons between fields of decimal commas"
            )
    raise ValueError(f"{len(fields)} fields, expected {len(kinds)} as in the header")


def _ways(fields: Sequence[str], kinds: Sequence[Kind]) -> Iterator[list[str]]:
    """Every way to make a field a column of them by putting two of digits together as one number."""
    if not kinds:
        if not fields:
            yield []
        return
    if len(fields) < len(kinds) or len(fields) > 2 * len(kinds):
        return
    first, kind = fields[0], kinds[0]
    if kind == "other" or not first or _number(first, kind):
        for rest in _ways(fields[1:], kinds[1:]):
            yield [first, *rest]
    if kind == "number" and len(fields) > 1 and _WHOLE.fullmatch(first) and _DIGITS.fullmatch(fields[1]):
        for rest in _ways(fields[2:], kinds[1:]):
            yield [f"{first},{fields[1]}", *rest]


def _number(text: str, kind: Kind) -> bool:
    try:
        return float(text) == int(float(text)) or kind == "number"
    except (ValueError, OverflowError):
        return False


def last_place(text: str) -> int | None:
    """Power of ten of the last digit written, "180.0" -1, "1.80e2" 0; None for an empty field."""
    digits, _, power = text.lower().partition("e")
    if not digits:
        return None
    return int(power or 0) - len(digits.partition(".")[2])


def name_and_unit(header: str) -> tuple[str, str | None]:
    """Name of a column and its unit, None without one, from a header such as "Rear capture [1]"."""
    name, bracket, rest = header.replace("(", "[").replace(")", "]").partition("[")
    unit = rest.partition("]")[0].strip() if bracket else None
    return "_".join(name.lower().replace("-", " ").replace("_", " ").split()), unit
