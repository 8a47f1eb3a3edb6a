"""The log of a real rig: one row a passage, in CSV, its columns matched by their headers.

A header is a name and a unit, such as ``length [mm]`` or ``dwell [1]``. Fields are
separated by commas, semicolons or tabs, whichever the header holds. Decimal commas are read where they
can mean nothing else. Lines that begin with ``#`` are remarks.
"""

import csv
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import parse
from gatesim.ground.text import shortened
from gatesim.shopfloor.logdialect import USUAL, Dialect, dialect_of, moment
from gatesim.shopfloor.logfields import Kind, fields_of, last_place, name_and_unit
from gatesim.shopfloor.textfile import text_of

REGISTERS = ("dwell", "capture", "rear_capture", "third_capture", "third_rear_capture")
_UNITS = {"length": "m", "reference": "m"} | dict.fromkeys(REGISTERS, "1")
_LABELS = ("part", "operator")
_KNOWN = ", ".join([*_UNITS, "time", *_LABELS])


@dataclass(frozen=True)
class BadRow:
    """A row kept apart: its line in the file, why, and its text."""

    line: int
    reason: str
    text: str


@dataclass(frozen=True)
class Log:
    """The good rows of a log.

    ``numbers`` holds float arrays in SI, shape (n,), NaN where the field was empty:
    ``length`` is the indication, ``reference`` the true length of a reference part, the
    registers are counts, ``time`` is in seconds (from the first good row where the log
    has dates). ``labels`` holds the words of part and operator, ``lines`` the line of
    each row in the file, ``ignored`` the headers that name nothing known. ``places`` is
    the worth of the last decimal place written in each column of numbers, SI. ``dialect``: how
    its fields and numbers are parted.
    """

    path: str
    numbers: Mapping[str, Array]
    labels: Mapping[str, tuple[str, ...]]
    units: Mapping[str, str]
    lines: tuple[int, ...]
    bad: tuple[BadRow, ...]
    ignored: tuple[str, ...]
    places: Mapping[str, float] = field(default_factory=dict)
    dialect: Dialect = USUAL

    KEYS: ClassVar[Keys] = {
        "path": "file",
        "rows": "rows",
        "bad": "bad_rows",
        "ignored": "columns_not_used",
        "numbers": None,
        "labels": None,
        "units": None,
        "lines": None,
        "places": None,
        "dialect": None,
        "written_with": "written_with",
    }

    def __len__(self) -> int:
        return len(self.lines)

    @property
    def written_with(self) -> str:
        """How its fields and numbers are parted, in words."""
        return self.dialect.words

    @property
    def rows(self) -> int:
        """How many rows are good."""
        return len(self)

    def __contains__(self, name: str) -> bool:
        return name in self.numbers or name in self.labels


@dataclass(frozen=True)
class _Column:
    name: str
    index: int
    unit: str
    read: Callable[[str], float | str]
    needed: bool

    @property
    def dated(self) -> bool:
        """Whether it holds time stamps."""
        return self.read is moment

    @property
    def numeric(self) -> bool:
        """Whether it holds numbers."""
        return self.name not in _LABELS and not self.dated


def read_log(path: str | Path, need: Sequence[str] = (), mapping: Mapping[str, str] | None = None) -> Log:
    """Read a log; rows that cannot be read are kept apart in ``Log.bad``.

    ``need`` names the columns a row must fill; ``mapping`` renames headers, from the text
    in the file to ``"name [unit]"``. Raises InputError where the file or its header cannot
    be used, or where no row is left.
    """
    lines = text_of(path, "a CSV file").splitlines()
    start = next((k for k, line in enumerate(lines) if line.strip() and not line.startswith("#")), None)
    if start is None:
        raise InputError(f"{path}: the file is empty, expected a header line and one row a passage")
    separator = max(",;\t", key=lines[start].count)
    headers = [h.strip() for h in next(csv.reader([lines[start]], delimiter=separator))]
    columns, ignored = _columns(path, start + 1, headers, need, mapping or {})
    fields, bad = _fields(columns, lines[start + 1 :], start + 2, separator, len(headers))
    dialect = _dialect(columns, fields.values(), separator)
    rows: list[dict[str, float | str]] = []
    good: list[int] = []
    for number, row in fields.items():
        try:
            rows.append(_row(row, columns, dialect))
            good.append(number)
        except ValueError as reason:
            bad.append(BadRow(number, shortened(str(reason)), shortened(lines[number - 1])))
    bad.sort(key=lambda each: each.line)
    if not rows:
        first = f", the first bad one is line {bad[0].line}: {bad[0].reason}" if bad else ""
        raise InputError(f"{path}: no row can be used ({len(bad)} bad{first})")
    places = _places(columns, [fields[number] for number in good])
    return replace(_log(path, columns, rows, good, bad, ignored), places=places, dialect=dialect)


def _fields(
    columns: list[_Column], lines: list[str], first: int, separator: str, width: int
) -> tuple[dict[int, list[str]], list[BadRow]]:
    """Fields of every row by its line, of which the ``first`` is that of lines[0]; rows that have none."""
    kinds: list[Kind] = ["other"] * width
    for column in columns:
        if column.numeric:
            kinds[column.index] = "count" if column.name in REGISTERS else "number"
    found, bad = {}, []
    for number, line in enumerate(lines, first):
        if not line.strip() or line.startswith("#"):
            continue
        try:
            found[number] = fields_of(line, separator, kinds)
        except (ValueError, csv.Error) as reason:
            bad.append(BadRow(number, shortened(str(reason)), shortened(line)))
    return found, bad


def _dialect(columns: list[_Column], rows: Iterable[list[str]], separator: str) -> Dialect:
    """How its numbers and dates are written: all of them are looked at before one is read."""
    rows = list(rows)
    numbers = [row[column.index] for column in columns if column.numeric for row in rows]
    times = [row[column.index] for column in columns if column.dated for row in rows]
    return dialect_of(separator, numbers, times)


def _places(columns: list[_Column], rows: list[list[str]]) -> dict[str, float]:
    """Worth of the last decimal place that a column of lengths writes, in m."""
    found = {}
    for column in columns:
        if _UNITS.get(column.name) != "m":
            continue
        texts = [row[column.index].replace(",", ".") for row in rows]
        powers = [p for text in texts if (p := last_place(text)) is not None]
        if powers:
            one = column.read("1")
            assert isinstance(one, float)
            found[column.name] = one * 10.0 ** min(powers)
    return found


def _columns(
    path: str | Path,
    line: int,
    headers: list[str],
    need: Sequence[str],
    mapping: Mapping[str, str],
) -> tuple[list[_Column], tuple[str, ...]]:
    columns: dict[str, _Column] = {}
    ignored = []
    for key in mapping:
        if key not in headers:
            raise InputError(
                f"{path}, line {line}: no column {shortened(key)!r}, expected it because it is mapped"
            )
    for index, header in enumerate(headers):
        name, unit = name_and_unit(mapping.get(header, header))
        if name not in (*_UNITS, "time", *_LABELS):
            ignored.append(header)
            continue
        if name in columns:
            raise InputError(f"{path}, line {line}: two columns give {name!r}, expected one")
        try:
            read, written = _reader(name, unit)
        except ValueError as reason:
            raise InputError(f"{path}, line {line}: column {shortened(header)!r}: {reason}") from None
        columns[name] = _Column(name, index, written, read, name in need)
    for name in need:
        if name not in columns:
            given = ", ".join(repr(h) for h in headers)
            raise InputError(
                f"{path}, line {line}: no column {name!r} among {given}; "
                f"expected a header such as {_example(name)!r} (known names: {_KNOWN})"
            )
    return list(columns.values()), tuple(ignored)


def _example(name: str) -> str:
    if name in _LABELS:
        return name
    return f"{name} [{'mm' if _UNITS.get(name) == 'm' else 's' if name == 'time' else '1'}]"


def _reader(name: str, unit: str | None) -> tuple[Callable[[str], float | str], str]:
    if name in _LABELS:
        return str, ""
    if name == "time" and unit is None:
        return moment, ""
    target = _UNITS.get(name, "s")
    if unit is None and target != "1":
        raise ValueError(f"it has no unit, expected one such as {_example(name)!r}")
    try:
        factor, written = parse(f"1 {unit or '1'}", target)
    except ValueError as reason:
        raise ValueError(
            f"given the unit {unit!r}, {reason}, expected one such as {_example(name)!r}"
        ) from None
    counts = name in REGISTERS

    def number(text: str) -> float:
        try:
            value = float(text.replace(",", ".")) * factor
        except ValueError:
            raise ValueError(f"{name} is {text!r}, expected a number") from None
        if not math.isfinite(value):
            raise ValueError(f"{name} is {text!r}, expected a finite number")
        if counts and (value < 0 or value != int(value)):
            raise ValueError(f"{name} is {text!r}, expected a count (a whole number, not negative)")
        return value

    return number, "" if written == "1" else written


def _row(fields: list[str], columns: list[_Column], dialect: Dialect) -> dict[str, float | str]:
    row: dict[str, float | str] = {}
    for column in columns:
        text = fields[column.index]
        if text and column.dated:
            row[column.name] = moment(text, dialect.dates)
        elif text:
            if column.numeric:
                dialect.check(text)
            row[column.name] = column.read(text)
        elif column.needed:
            raise ValueError(f"{column.name} is empty, expected a value")
        else:
            row[column.name] = "" if column.name in _LABELS else math.nan
    return row


def _log(
    path: str | Path,
    columns: list[_Column],
    rows: list[dict[str, float | str]],
    lines: list[int],
    bad: list[BadRow],
    ignored: tuple[str, ...],
) -> Log:
    numbers: dict[str, Array] = {}
    labels: dict[str, tuple[str, ...]] = {}
    for column in columns:
        values = [row[column.name] for row in rows]
        if column.name in _LABELS:
            labels[column.name] = tuple(str(v) for v in values)
        else:
            numbers[column.name] = np.array(values, dtype=float)
            if column.name == "time" and not column.unit:
                # Seconds since the first dated row keep their digits; since 1970 they would not.
                dated = numbers["time"][~np.isnan(numbers["time"])]
                numbers["time"] = numbers["time"] - (dated[0] if dated.size else 0.0)
    units = {c.name: c.unit for c in columns if c.name not in _LABELS}
    return Log(str(path), numbers, labels, units, tuple(lines), tuple(bad), ignored)
