"""What a part may be made of, as far as magnets are concerned."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, Literal

CONDUCTIVITY: Mapping[str, tuple[float, float]] = MappingProxyType(
    {
        "copper": (57.0, 1.5),
        "aluminium": (36.5, 1.5),
        "aluminium-alloy": (27.5, 4.5),
        "brass": (15.5, 1.5),
        "zinc": (16.5, 0.5),
        "bronze": (8.0, 2.0),
        "titanium": (1.5, 0.8),
        "austenitic-steel": (1.35, 0.1),
    }
)
"""Middle and half-width in MS/m at 20 degC over the usual grades (handbook figures, from memory).

Copper: IEC 60028 has 58.0 annealed; drawn it has up to 3 % less. Aluminium-alloy: wrought alloys of
magnesium and silicon. Brass: 37 % zinc. Bronze: 4 to 8 % tin. The warmer, the less: copper and aluminium
lose 0.4 % a kelvin.
"""

MAGNETIC = ("steel", "iron", "nickel")
"""Materials that magnets pull."""

Material = Literal[
    "copper",
    "aluminium",
    "aluminium-alloy",
    "brass",
    "zinc",
    "bronze",
    "titanium",
    "austenitic-steel",
    "steel",
    "iron",
    "nickel",
]


def conductivity(material: str) -> dict[str, Any]:
    """The quantity as a scenario states it, with the spread between grades."""
    middle, half = CONDUCTIVITY[material]
    return {"value": f"{middle} MS/m", "distribution": "rectangular", "half_width": f"{half} MS/m"}
