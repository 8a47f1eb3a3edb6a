"""How a log writes its numbers and times: the mark between fields, the decimal mark, kinds of time stamps."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

_ONE_MARK = re.compile(r"[+-]?\d+([.,])\d+")
_EITHER = re.compile(r"[+-]?\d{1,3}[.,]\d{3}")
_BETWEEN = {",": "commas", ";": "semicolons", "\t": "tabs"}
_DAY_OR_MONTH = re.compile(r"(\d{1,2})([/-])(\d{1,2})[/-](\d{2,4})\b(.*)")
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%I:%M:%S %p", "%I:%M %p")
# between dots the day comes first, as between slashes and dashes it need not
_DATES = ("%d.%m.%Y", "%d.%m.%y", "%Y/%m/%d", "%Y.%m.%d", "%Y-%m-%d", "%d-%b-%Y", "%d %b %Y", "%b %d %Y")
_STAMPS = (*(f"{date} {clock}" for date in _DATES for clock in _CLOCKS), *_DATES, *_CLOCKS)


@dataclass(frozen=True)
class Dialect:
    """``separator`` between fields; ``decimal`` mark of its numbers.

    "mixed" where both marks occur, "unsure" where commas may as well be marks of thousands. ``dates``: what
    comes first in dates such as 31/01/2026, empty without any; "mixed" where some show one order and
    some the other, "unsure" where none shows any.
    """

    separator: str
    decimal: Literal[".", ",", "mixed", "unsure"]
    dates: Literal["", "day", "month", "mixed", "unsure"] = ""

    @property
    def words(self) -> str:
        """For people."""
        marks = {".": "decimal points", ",": "decimal commas", "mixed": "decimal points and commas mixed",
                 "unsure": "commas in numbers"}  # fmt: skip
        dates = f", dates with the {self.dates} first" if self.dates in ("day", "month") else ""
        return f"{_BETWEEN[self.separator]} between fields, {marks[self.decimal]}{dates}"

    @property
    def usual(self) -> bool:
        """Whether it is the one that goes without saying."""
        return self == USUAL

    def check(self, text: str) -> None:
        """Raise ValueError for a number that may mean two things in this log."""
        if self.decimal == "mixed" and _EITHER.fullmatch(text):
            one, other = text.replace(",", "."), re.sub("[.,]", "", text)
            raise ValueError(f"{text!r} may be {one} or {other}, expected one decimal mark in all rows")
        if self.decimal == "unsure" and "," in text and _EITHER.fullmatch(text):
            one, other = text.replace(",", "."), text.replace(",", "")
            raise ValueError(f"{text!r} may be {one} or {other}, expected a decimal point")


USUAL = Dialect(",", ".")


def dialect_of(separator: str, numbers: Iterable[str], times: Iterable[str] = ()) -> Dialect:
    """What the texts of a log's columns of numbers, and of its time stamps, show."""
    found = [(text, mark[1]) for text in numbers if (mark := _ONE_MARK.fullmatch(text))]
    marks, dates = {mark for _, mark in found}, _dates(times)
    if "," not in marks:
        return Dialect(separator, ".", dates)
    if "." in marks:
        return Dialect(separator, "mixed", dates)
    # between commas, what stands in quotes with a comma may be a thousand
    sure = separator != "," or any(mark == "," and not _EITHER.fullmatch(text) for text, mark in found)
    return Dialect(separator, "," if sure else "unsure", dates)


def _dates(times: Iterable[str]) -> Literal["", "day", "month", "mixed", "unsure"]:
    """Whether day or month comes first: what a number above 12 in either place shows."""
    found = [(int(date[1]), int(date[3])) for text in times if (date := _DAY_OR_MONTH.fullmatch(text))]
    day, month = any(first > 12 for first, _ in found), any(second > 12 for _, second in found)
    if day and month:
        return "mixed"
    return "day" if day else "month" if month else "unsure" if found else ""


def _day_or_month(text: str, dates: str) -> float:
    """Seconds of a date such as 31/01/2026 14:05:00. Raises ValueError for one that may be two."""
    date = _DAY_OR_MONTH.fullmatch(text)
    assert date is not None, "asked for no other"
    first, mark, second, year, clock = int(date[1]), date[2], int(date[3]), date[4], date[5].strip(" T")
    expected = "expected one such as 2026-01-31T14:05:00"
    if len(year) != 4:
        raise ValueError(f"time is {text!r}, whose year has {len(year)} digits, {expected}")
    order = "day" if first > 12 else "month" if second > 12 else dates
    if order not in ("day", "month"):
        if first == second:
            order = "day"
        else:
            raise ValueError(f"time is {text!r}, where day or month may come first, {expected}")
    day, month = (first, second) if order == "day" else (second, first)
    for stamp in _CLOCKS if clock else ("",):
        try:
            found = datetime.strptime(f"{day}{mark}{month}{mark}{year} {clock}".strip(),
                                      f"%d{mark}%m{mark}%Y {stamp}".strip())  # fmt: skip
            return found.replace(tzinfo=UTC).timestamp()
        except (ValueError, OverflowError):
            continue
    raise ValueError(f"time is {text!r}, {expected}")


def moment(text: str, dates: str = "") -> float:
    """Seconds of a time stamp: ISO 8601, day.month.year, year/month/day, months by name, or a time of day.

    ``dates``: whether "day" or "month" comes first in those such as 03/04/2026, of which only one may be
    when neither is above 12. Without an offset the clock is the log's own; UTC keeps summer time out of
    the differences. Raises ValueError.
    """
    if _DAY_OR_MONTH.fullmatch(text):
        return _day_or_month(text.replace(",", "."), dates)
    for stamp in ("", *_STAMPS):
        try:
            found = (
                datetime.strptime(text.replace(",", "."), stamp) if stamp else datetime.fromisoformat(text)
            )
            return (found if found.tzinfo else found.replace(tzinfo=UTC)).timestamp()
        except (ValueError, OverflowError):
            continue
    raise ValueError(f"time is {text!r}, expected a date and time such as 2026-01-31T14:05:00")
