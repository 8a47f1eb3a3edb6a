"""Physical quantities at the border: text and pint on the outside, SI floats inside."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, TypeVar

from gatesim.ground.arrays import Scalar
from gatesim.ground.distribution import Spread
from gatesim.ground.draw import Draw
from gatesim.ground.level import Level
from gatesim.ground.unitfactors import COMMON_UNITS

if TYPE_CHECKING:
    import pint


# Only a number and a product of units reaches pint: its parser would evaluate arithmetic.
_FACTOR = r"(?:1|[A-Za-z_%°µμΩ]+(?:(?:\^|\*\*)-?\d)?)"
_NUMBER_AND_UNIT = re.compile(
    r"\s*(?P<number>[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
    rf"\s*(?P<unit>{_FACTOR}(?:\s*[*/·]\s*{_FACTOR}|\s+{_FACTOR}){{0,9}})?\s*"
)
_DECIMAL_COMMA = re.compile(r"\s*[+-]?\d+,(\d+)(?:[eE][+-]?\d+)?\s*(?:[A-Za-z%°µμΩ].*)?", re.ASCII)


@dataclass(frozen=True)
class Quantity:
    """A quantity of a scenario: nominal value in SI, and how it spreads.

    ``text`` and ``unit`` keep what the user wrote, for display. ``per``: how often the value is
    drawn, where a scenario says so; else its table's default, and new with every passage without one.
    """

    nominal: float
    unit: str = ""
    text: str = ""
    spread: Spread | None = None
    per: Level | None = None

    @property
    def std(self) -> float:
        """Standard uncertainty in SI; 0 without a spread."""
        return 0.0 if self.spread is None else self.spread.std

    def sample(self, draw: Draw, name: str) -> Scalar:
        """Draw values in SI, shape (draw.trials,), or the nominal float without a spread."""
        return self.nominal if self.spread is None else self.nominal + self.spread.deviation(draw, name)


@cache
def registry() -> "pint.UnitRegistry[Any]":
    """The registry of the units a scenario may use (a constant; built on first use)."""
    import pint  # deferred: a quarter of a prediction's start-up, and common units do without

    return pint.UnitRegistry(str(files("gatesim.ground") / "units.txt"), autoconvert_offset_to_baseunit=False)


@cache
def in_root_units(unit: str) -> tuple[float, str]:
    """One of a unit in root units, as pint converts it: the factor and the root units' names.

    Raises pint.UndefinedUnitError, or other errors of pint's parser.
    """
    one = registry().Quantity(1.0, registry().Unit(unit.replace("%", " percent "))).to_root_units()
    return float(one.magnitude), str(one.units)


def _in_root_units(unit: str) -> tuple[float, str]:
    return COMMON_UNITS[unit] if unit in COMMON_UNITS else in_root_units(unit)


def si_factor(unit: str) -> float:
    """One of a unit in SI: 1e-3 for mm and for g."""
    factor, root = _in_root_units(unit)  # whose unit of mass is the gram
    above, *below = root.split(" / ")
    mass = above.split(" * ").count("gram") - below.count("gram")
    return factor / 1000.0**mass


def is_length(unit: str) -> bool:
    """Whether it is a unit of length."""
    return _in_root_units(unit)[1] == "meter"


def parse(text: str, unit: str) -> tuple[float, str]:
    """Read text such as ``"120 mm"``: the value in ``unit`` (an SI unit) and the unit written.

    Raises ValueError with a reason that completes "given ..., expected ...".
    """
    if "±" in text or "+/-" in text or "+-" in text:
        raise ValueError(
            "a bare ± does not say whether it is a tolerance, a standard uncertainty or an expanded one; "
            'write a table such as { value = "120 mm", distribution = "rectangular", half_width = "0.2 mm" }'
        )
    match = _NUMBER_AND_UNIT.fullmatch(text)
    if match is None and (comma := _DECIMAL_COMMA.fullmatch(text)) is not None:
        point = f"it has a decimal comma, write {text.replace(',', '.')!r}"
        thousands = f", or {text.replace(',', '')!r} if thousands are meant" if len(comma[1]) == 3 else ""
        raise ValueError(point + thousands)
    if match is None:
        raise ValueError("it cannot be read as a number with a unit")
    written = match["unit"] or ""
    try:
        factor, base = _in_root_units(written)
    except Exception as error:  # pint's parser lets many kinds of error through on free text
        unknown = type(error).__name__ == "UndefinedUnitError"
        reason = "is not known" if unknown else "cannot be read"
        raise ValueError(f"the unit {written!r} {reason}") from None
    target_factor, target_base = _in_root_units(unit)
    if base != target_base:
        raise ValueError(f"it has the unit {written!r}" if written else "it has no unit")
    value = float(match["number"]) * (factor / target_factor)
    if not math.isfinite(value):
        raise ValueError("it is not a finite number")
    return value, written


def stated(text: str, unit: str = "") -> Quantity:
    """The quantity that a text such as ``"120 mm"`` states, without spread; ``unit`` is its SI unit.

    Raises ValueError as `parse` does.
    """
    value, written = parse(text, unit)
    return Quantity(value, written, text)


def to_si(value: Any, unit: str) -> Any:
    """Strip units at the border: pint quantities of any registry become floats or arrays in ``unit``.

    Plain numbers and arrays are taken as SI already. Raises pint.DimensionalityError
    on a quantity of another dimension.
    """
    return value.to(unit).magnitude if hasattr(value, "to") and hasattr(value, "magnitude") else value


T = TypeVar("T")


def accepts(**units: str) -> Callable[[type[T]], type[T]]:
    """Let a frozen dataclass take pint quantities for these fields; it keeps them in the SI units named.

    Goes below ``@dataclass``. Plain floats and arrays are taken as SI already. A quantity of
    another dimension raises pint.DimensionalityError.
    """

    def strip(self: Any) -> None:
        for key, unit in units.items():
            value = getattr(self, key)
            plain = to_si(value, unit)
            if plain is not value:
                object.__setattr__(self, key, plain)

    def decorate(described: type[T]) -> type[T]:
        described.__post_init__ = strip  # type: ignore[attr-defined]
        return described

    return decorate
