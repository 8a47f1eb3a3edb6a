"""The unit that lengths are shown in: computed and listed as JSON they stay in m."""

import math
import re
from dataclasses import dataclass

from gatesim.ground.errors import InputError
from gatesim.ground.quantity import is_length, si_factor
from gatesim.view.number import decimals_for, fixed, plain, with_error

DIGITS = 4
"""Significant digits that a length in a sentence keeps at least ..."""
FINEST = 3
"""... unless they go beyond so many decimals in mm."""
_NUMBER = r"[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
_LENGTHS = re.compile(
    rf"(?<![\w.-])((?:(?<!gate )(?<!gates ){_NUMBER} (?:to|and) )?{_NUMBER})([ \u00a0])mm\b(?![\^²/])"
)


@dataclass(frozen=True)
class LengthUnit:
    """A unit of length: its ``name``, and how many make a metre.

    ``more``: decimal places beyond those of mm, with which no digit is lost.
    """

    name: str
    per_metre: float
    more: int

    @property
    def for_scripts(self) -> dict[str, float | str]:
        """What the scripts of pages take for ``gatesim.unit``."""
        return {"MM": self.per_metre, "LENGTH": self.name, "MORE": self.more}

    def places(self, in_mm: int) -> int:
        """Decimal places for a length that would have so many in mm."""
        return max(in_mm + self.more, 0)

    def fixed(self, length: float | None, in_mm: int) -> str:
        """A length in m, with the decimal places that it would have in mm; a dash for none."""
        return "-" if length is None else fixed(self.per_metre * length, self.places(in_mm))

    def signed(self, length: float | None, in_mm: int) -> str:
        """As `fixed`, with a sign unless all its digits are 0."""
        return "-" if length is None else fixed(self.per_metre * length, self.places(in_mm), "+")

    def plain(self, length: float, digits: int = 4) -> str:
        """A length in m to a few significant digits; see `gatesim.view.number.plain`."""
        return plain(self.per_metre * length, digits)

    def stated(self, length: float, digits: int = 4) -> str:
        """As `plain`, with the unit behind it."""
        return f"{self.plain(length, digits)} {self.name}"

    def with_error(self, length: float, error: float, like: float = math.nan) -> str:
        """A length and its standard error in m; see `gatesim.view.number.with_error`."""
        return with_error(length, error, self.per_metre, like)

    def decimals(self, error: float, digits: int = 2) -> int:
        """Decimal places that show so many significant digits of an error in m."""
        return decimals_for(self.per_metre * error, digits)

    def said(self, sentence: str) -> str:
        """A sentence whose lengths are in mm, with these in this unit; as many digits, four at least."""
        return sentence if self is MM else _LENGTHS.sub(self._restated, sentence)

    def _restated(self, found: re.Match[str]) -> str:
        words = [word if word in ("to", "and") else self._converted(word) for word in found[1].split(" ")]
        return f"{' '.join(words)}{found[2]}{self.name}"

    def _converted(self, text: str) -> str:
        value = float(text) * 1e-3 * self.per_metre
        mantissa = text.lstrip("+-").split("e")[0].replace(".", "").lstrip("0")
        places = decimals_for(abs(value), max(len(mantissa), DIGITS)) if value else 0
        written = len(text.partition(".")[2].split("e")[0])
        places = min(places, self.places(max(written, FINEST)))
        number = f"{value:.{places}f}"
        number = number.rstrip("0").rstrip(".") if "." in number else number
        return f"+{number}" if text.startswith("+") else number


MM = LengthUnit("mm", 1e3, 0)
UNITS = {unit.name: unit for unit in (MM, LengthUnit("um", 1e6, -3), LengthUnit("in", 1.0 / 0.0254, 2))}


def restated(written: str, wanted: LengthUnit | None) -> tuple[str, float]:
    """The unit to show a quantity in that was written in another, and how many of it that one is.

    Lengths go into the unit that is ``wanted``; all else, and all without one, stays as written.
    """
    if wanted is None or not written or not is_length(written):
        return written, 1.0
    return wanted.name, si_factor(written) * wanted.per_metre


def unit_of(name: str | None) -> LengthUnit:
    """The unit of that name, mm without one. Raises InputError."""
    if name is None:
        return MM
    if name not in UNITS:
        raise InputError(f"--unit: given {name!r}, expected one of {', '.join(UNITS)}")
    return UNITS[name]
