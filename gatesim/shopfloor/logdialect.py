"""How a log writes its numbers and times: the mark between fields, the decimal mark, kinds of time stamps."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

_ONE_MARK = re.compile(r"[+-]?\d+([.,])\d+")
_EITHER = re.compile(r"[+-]?\d{1,3}[.,]\d{3}")
_BETWEEN = {",": "commas", ";": "semicolons", "\t": "tabs"}
_STAMPS = ("%d.%m.%Y %H:%M:%S", "%d.%m.%Y %H:%M:%S.%f", "%d.%m.%Y %H:%M", "%Y/%m/%d %H:%M:%S",
           "%Y/%m/%d %H:%M", "%H:%M:%S", "%H:%M:%S.%f")  # fmt: skip
_SLASHES = re.compile(r"\d{1,2}/\d{1,2}/\d{2,4}\b.*")


@dataclass(frozen=True)
class Dialect:
    """``separator`` between fields; ``decimal`` mark of its numbers, where both occur "mixed"."""

    separator: str
    decimal: Literal[".", ",", "mixed"]

    @property
    def words(self) -> str:
        """For people."""
        marks = {".": "decimal points", ",": "decimal commas", "mixed": "decimal points and commas mixed"}
        return f"{_BETWEEN[self.separator]} between fields, {marks[self.decimal]}"

    @property
    def usual(self) -> bool:
        """Whether it is the one that goes without saying."""
        return self == USUAL

    def check(self, text: str) -> None:
        """Raise ValueError for a number that may mean two things in this log."""
        if self.decimal == "mixed" and _EITHER.fullmatch(text):
            one, other = text.replace(",", "."), re.sub("[.,]", "", text)
            raise ValueError(f"{text!r} may be {one} or {other}, expected one decimal mark in all rows")


USUAL = Dialect(",", ".")


def dialect_of(separator: str, numbers: Iterable[str]) -> Dialect:
    """What the texts of a log's columns of numbers show; a comma counts where it parts no fields."""
    marks = {found[1] for text in numbers if (found := _ONE_MARK.fullmatch(text))}
    if separator == "," or "," not in marks:
        return Dialect(separator, ".")
    return Dialect(separator, "mixed" if "." in marks else ",")


def moment(text: str) -> float:
    """Seconds of a time stamp: ISO 8601, day.month.year, year/month/day, or a time of day.

    Without an offset the clock is the log's own; UTC keeps summer time out of the differences.
    Raises ValueError.
    """
    if _SLASHES.fullmatch(text):
        raise ValueError(
            f"time is {text!r}, where day or month may come first, expected one such as 2026-01-31T14:05:00"
        )
    for stamp in ("", *_STAMPS):
        try:
            found = (
                datetime.strptime(text.replace(",", "."), stamp) if stamp else datetime.fromisoformat(text)
            )
            return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            continue
    raise ValueError(f"time is {text!r}, expected a date and time such as 2026-01-31T14:05:00")
