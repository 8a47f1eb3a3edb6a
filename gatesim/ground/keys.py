"""Field types of a scenario: how a key is read, and what is told when it cannot be."""

import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from typing import Annotated, Any

from pydantic import PlainValidator
from pydantic_core import core_schema

from gatesim.ground.distribution import (
    Arcsine,
    Normal,
    Rectangular,
    Spread,
    StudentT,
    Trapezoidal,
    Triangular,
)
from gatesim.ground.level import LEVELS, Level
from gatesim.ground.quantity import Quantity, parse

_SPREAD_KEYS = {
    "normal": ("standard_uncertainty",),
    "rectangular": ("half_width", "standard_uncertainty"),
    "triangular": ("half_width", "standard_uncertainty"),
    "trapezoidal": ("half_width", "standard_uncertainty", "top_ratio"),
    "arcsine": ("half_width", "standard_uncertainty"),
    "student-t": ("standard_uncertainty", "degrees_of_freedom"),
}

_SIZES = {key for sizes in _SPREAD_KEYS.values() for key in sizes}
_ALSO_CALLED = {
    "gauss": "normal",
    "gaussian": "normal",
    "uniform": "rectangular",
    "u-shaped": "arcsine",
    "sine": "arcsine",
    "triangle": "triangular",
    "student": "student-t",
    "t": "student-t",
}

MOST_BEYOND = 1e-3  # share of an unbounded spread that may lie out of range
T_REACH = 3.3  # scales of a t-distribution that must lie within range
ROUNDING = 1e-9  # of a half-width: 0.02 % plus or minus 0.02 % may reach 0 from below


def _number(given: object, key: str) -> float:
    if isinstance(given, bool) or not isinstance(given, int | float) or not math.isfinite(given):
        raise ValueError(f"{key} is {given!r}, not a plain number")
    return float(given)


def _read_text(given: object, unit: str) -> tuple[float, str, str]:
    if isinstance(given, int | float) and not isinstance(given, bool) and unit == "":
        return _number(given, "it"), "", repr(given)
    if not isinstance(given, str):
        raise ValueError("it is not text with a unit")
    value, written = parse(given, unit)
    return value, written, given


def _half_width(table: dict[str, Any], unit: str, unit_spread: float) -> float:
    """Half-width of a bounded distribution, from either key; ``unit_spread`` is std per half-width."""
    if ("half_width" in table) == ("standard_uncertainty" in table):
        raise ValueError("it needs either half_width or standard_uncertainty")
    if "half_width" in table:
        return _read_text(table["half_width"], unit)[0]
    return _read_text(table["standard_uncertainty"], unit)[0] / unit_spread


def _read_spread(table: dict[str, Any], unit: str) -> Spread:
    word = table.get("distribution")
    if word is None and set(table) & _SIZES:
        sizes = [key for key in table if key in _SIZES]
        fitting = [name for name, keys in _SPREAD_KEYS.items() if set(sizes) <= set(keys)]
        said = " and ".join(sizes)
        raise ValueError(f"it has {said} but no distribution, which can be {', '.join(fitting)}")
    if not isinstance(word, str) or word not in _SPREAD_KEYS:
        meant = _ALSO_CALLED.get(str(word).lower())
        hint = f"; {word} is written {meant}" if meant else ""
        raise ValueError(f"its distribution is {word!r}, not one of {', '.join(_SPREAD_KEYS)}{hint}")
    unknown = sorted(set(table) - {"value", "distribution", "per", *_SPREAD_KEYS[word]})
    if unknown:
        raise ValueError(f"a {word} distribution has no key {unknown[0]!r}")
    if word in ("normal", "student-t"):
        if "standard_uncertainty" not in table:
            raise ValueError("it needs standard_uncertainty")
        std = _read_text(table["standard_uncertainty"], unit)[0]
        size, spread = std, Normal(std)
        if word == "student-t":
            nu = _number(table.get("degrees_of_freedom"), "degrees_of_freedom")
            if nu <= 0.0:
                raise ValueError("degrees_of_freedom is not above 0")
            return _positive(StudentT(std, nu), size)
        return _positive(spread, size)
    if word == "trapezoidal":
        beta = _number(table.get("top_ratio"), "top_ratio")
        if not 0.0 <= beta <= 1.0:
            raise ValueError("top_ratio is not between 0 and 1")
        size = _half_width(table, unit, Trapezoidal(1.0, beta).std)
        return _positive(Trapezoidal(size, beta), size)
    kinds: dict[str, Callable[[float], Spread]]
    kinds = {"rectangular": Rectangular, "triangular": Triangular, "arcsine": Arcsine}
    size = _half_width(table, unit, kinds[word](1.0).std)
    return _positive(kinds[word](size), size)


def _read_level(table: dict[str, Any]) -> Level | None:
    if "per" not in table:
        return None
    if table["per"] not in LEVELS:
        raise ValueError(f"it is drawn per {table['per']!r}, not one of {', '.join(LEVELS)}")
    per: Level = table["per"]
    return per


def _positive(spread: Spread, size: float) -> Spread:
    if not size > 0.0:
        raise ValueError("the size of its spread is not above 0")
    return spread


def _share_beyond(spread: Spread, room: float) -> float:
    """Share of a spread further than ``room`` to one side of its nominal value."""
    if isinstance(spread, Normal):
        return 0.5 * math.erfc(room / (math.sqrt(2.0) * spread.std))
    if isinstance(spread, StudentT):  # a rule: its tail needs scipy; 3.3 scales is 0.05 % of a normal one
        return 0.0 if room >= T_REACH * spread.scale else 1.0
    assert isinstance(spread, Rectangular | Trapezoidal | Arcsine)
    return 0.0 if room >= spread.half_width * (1.0 - ROUNDING) else 1.0


MOST_TEXT = {"title": 200, "note": 10_000}
_CONTROLS = dict.fromkeys([*range(32), *range(127, 160), *range(0x202A, 0x202F), *range(0x2066, 0x206A)], " ")


def _text(most: int, given: object) -> str:
    if not isinstance(given, str):
        raise ValueError(f"it is not text|text of at most {most} characters")
    if len(given) > most:
        raise ValueError(f"it has {len(given)} characters|text of at most {most} characters")
    # line breaks, too: what is printed of it is one line, and no control character gets out
    return given.translate(_CONTROLS)


LEAST, MOST = 1e-30, 1e9
"""Sizes in SI that no quantity of a rig lies outside of; beyond them products overflow."""


def _size(spread: Spread | None) -> float:
    if spread is None:
        return 0.0
    return spread.scale if isinstance(spread, StudentT) else spread.std


@dataclass(frozen=True)
class Reader:
    """How a key becomes a `Quantity`; annotates the type of a field.

    ``unit`` is the SI unit it is kept in, ``expected`` completes "expected ..." with an
    example; the nominal value must lie in [low, high], above ``low`` if ``above``. So must the
    whole of a bounded spread, all but 0.1 % of a normal one, and 3.3 scales of a t-distribution.
    No size is above ``most``, and none that must be above 0 is below ``LEAST``.
    """

    unit: str
    expected: str
    low: float = -math.inf
    high: float = math.inf
    above: bool = False
    most: float = MOST

    def __call__(self, given: object) -> Quantity:
        """Read text or a table. Raises ValueError as ``reason|expected``."""
        if type(given) is str:
            return _read_once(self, given)
        if isinstance(given, dict) and all(type(value) is str for value in given.values()):
            return _read_once(self, tuple(given.items()))
        return self.read(given)

    def read(self, given: object) -> Quantity:
        """The same, read anew."""
        try:
            if isinstance(given, dict):
                if "value" not in given:
                    raise ValueError("the table has no key value")
                nominal, written, text = _read_text(given["value"], self.unit)
                spread: Spread | None = _read_spread(given, self.unit)
                per = _read_level(given)
            else:
                (nominal, written, text), spread, per = _read_text(given, self.unit), None, None
            if nominal < self.low or (self.above and nominal == self.low) or nominal > self.high:
                raise ValueError("it is out of range")
            if max(abs(nominal), _size(spread)) > self.most or (self.above and nominal < LEAST):
                raise ValueError("it is beyond all that can be built")
            if spread is not None and self._beyond(nominal, spread) > MOST_BEYOND:
                raise ValueError("its spread reaches out of range")
        except ValueError as error:
            raise ValueError(f"{error}|{self.expected}") from None
        return Quantity(nominal, written, text, spread, per)

    def _beyond(self, nominal: float, spread: Spread) -> float:
        """Share of a spread out of range, as far as it is looked at."""
        room = (nominal - self.low) * (1.0 - 2.0 * ROUNDING if self.above else 1.0)
        return _share_beyond(spread, room) + _share_beyond(spread, self.high - nominal)

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        return core_schema.no_info_plain_validator_function(self)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        text: dict[str, Any] = {"type": "string"} if self.unit else {"type": ["string", "number"]}
        table = {
            "type": "object",
            "properties": {
                "value": text,
                "distribution": {"enum": list(_SPREAD_KEYS)},
                "per": {"enum": list(LEVELS)},
                "standard_uncertainty": text,
                "half_width": text,
                "top_ratio": {"type": "number", "minimum": 0, "maximum": 1},
                "degrees_of_freedom": {"type": "number", "exclusiveMinimum": 0},
            },
            "required": ["value", "distribution"],
            "additionalProperties": False,
        }
        example = re.findall(r'"([^"]+)"', self.expected)
        return {
            "title": self.expected,
            "examples": example or [re.findall(r"[\d.]+$", self.expected)[0]],
            "anyOf": [text, table],
        }


@lru_cache(maxsize=4096)
def _read_once(reader: Reader, given: str | tuple[tuple[str, str], ...]) -> Quantity:
    """Many rigs are read of which most quantities are the same, word for word."""
    return reader.read(given if isinstance(given, str) else dict(given))


Title = Annotated[str, PlainValidator(partial(_text, MOST_TEXT["title"]), json_schema_input_type=str)]
Note = Annotated[str, PlainValidator(partial(_text, MOST_TEXT["note"]), json_schema_input_type=str)]

Length = Annotated[Quantity, Reader("m", 'a length above 0 such as "120 mm"', low=0.0, above=True)]
MagnetSize = Annotated[
    Quantity, Reader("m", 'a length from 0.01 mm to 10 m such as "20 mm"', low=1e-5, high=10.0)
]
Distance = Annotated[Quantity, Reader("m", 'a distance of 0 or more such as "5 mm"', low=0.0)]
Offset = Annotated[Quantity, Reader("m", 'a signed distance such as "-0.5 mm"')]
Mass = Annotated[Quantity, Reader("kg", 'a mass above 0 such as "0.25 kg"', low=0.0, above=True)]
LinearDensity = Annotated[
    Quantity, Reader("kg/m", 'a mass per length above 0 such as "0.4 kg/m"', low=0.0, above=True)
]
NoMass = Annotated[Quantity, Reader("kg", 'a mass of 0 or more such as "40 g"', low=0.0)]
Angle = Annotated[
    Quantity,
    Reader("rad", 'an angle from -90 deg to 90 deg such as "35 deg"', low=-math.pi / 2, high=math.pi / 2),
]
Phase = Annotated[Quantity, Reader("rad", 'an angle such as "90 deg"')]
Speed = Annotated[Quantity, Reader("m/s", 'a speed above 0 such as "0.8 m/s"', low=0.0, above=True)]
AnySpeed = Annotated[Quantity, Reader("m/s", 'a speed of 0 or more such as "0.2 m/s"', low=0.0)]
Acceleration = Annotated[Quantity, Reader("m/s^2", 'an acceleration such as "3.2 m/s^2"')]
Gravity = Annotated[
    Quantity, Reader("m/s^2", 'an acceleration above 0 such as "9.81 m/s^2"', low=0.0, above=True)
]
Time = Annotated[Quantity, Reader("s", 'a time of 0 or more such as "0.5 ms"', low=0.0)]
Period = Annotated[Quantity, Reader("s", 'a time above 0 such as "2 ms"', low=0.0, above=True)]
Frequency = Annotated[
    Quantity, Reader("Hz", 'a frequency above 0 such as "100 kHz"', low=0.0, above=True, most=1e15)
]
Force = Annotated[Quantity, Reader("N", 'a force above 0 such as "2.5 N"', low=0.0, above=True)]
Stiffness = Annotated[Quantity, Reader("N/m", 'a stiffness above 0 such as "180 N/m"', low=0.0, above=True)]
Drag = Annotated[
    Quantity, Reader("kg/s", 'a drag coefficient above 0 such as "1.1 kg/s"', low=0.0, above=True)
]
Area = Annotated[Quantity, Reader("m^2", 'an area above 0 such as "4 cm^2"', low=0.0, above=True)]
Density = Annotated[Quantity, Reader("kg/m^3", 'a density above 0 such as "1.2 kg/m^3"', low=0.0, above=True)]
Conductivity = Annotated[
    Quantity, Reader("S/m", 'a conductivity above 0 such as "3.5e7 S/m"', low=0.0, above=True)
]
FluxDensity = Annotated[Quantity, Reader("T", 'a flux density above 0 such as "1.2 T"', low=0.0, above=True)]
Ratio = Annotated[Quantity, Reader("", 'a plain number of 0 or more such as 0.25 or "25 %"', low=0.0)]
Above0 = Annotated[Quantity, Reader("", "a plain number above 0 such as 1.1", low=0.0, above=True)]
Number = Annotated[Quantity, Reader("", "a mean number from 0 to 100 such as 1.5", low=0.0, high=100.0)]
Share = Annotated[Quantity, Reader("", 'a share from 0 to 1 such as 0.5 or "50 %"', low=0.0, high=1.0)]
Relative = Annotated[
    Quantity, Reader("", 'a relative deviation such as "20 ppm" or "0.1 %"', low=-0.5, high=0.5)
]
DriftRate = Annotated[Quantity, Reader("1/s", 'a relative drift a second such as "0.1 ppm/s"')]
