"""Length formulas: from counts and the controller's constants to a reading.

A formula is one file with one `Formula`, its ``FORMULA``; a new one takes a line in ``_FILES`` below.
"""

from importlib import import_module

from gatesim.formula.base import REGISTERS, Constants, Counts, Formula
from gatesim.formula.seen import AssumedMotion, SeenMotion
from gatesim.ground.family import check_complete

_FILES = (
    "spacing_dwell",
    "known_acceleration",
    "fixed_release",
    "rear_edge",
    "four_edge",
    "three_gates",
    "encoder_pitch",
)


def _member(file: str) -> Formula:
    formula: Formula = import_module(f"{__name__}.{file}").FORMULA
    check_complete(type(formula))
    formula.check()
    return formula


FORMULAS: dict[str, Formula] = {formula.name: formula for formula in map(_member, _FILES)}
"""Every formula by its name, in the order in which they are listed and tried."""


def suited(*, travel: bool) -> tuple[str, ...]:
    """Names of the formulas for counts of travel, those made for it first; or of time."""
    if not travel:
        return tuple(FORMULAS)
    kinds = ("travel", "either")
    return tuple(name for kind in kinds for name, f in FORMULAS.items() if f.counts_of == kind)


__all__ = [
    "FORMULAS",
    "REGISTERS",
    "AssumedMotion",
    "Constants",
    "Counts",
    "Formula",
    "SeenMotion",
    "suited",
]
