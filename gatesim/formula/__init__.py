"""Length formulas: from counts and the controller's constants to a reading.

A formula is one file with one `Formula`; a new one is added to `FORMULAS` below.
"""

from gatesim.formula import (
    encoder_pitch,
    fixed_release,
    four_edge,
    known_acceleration,
    rear_edge,
    spacing_dwell,
    three_gates,
)
from gatesim.formula.base import Constants, Counts, Formula

FORMULAS: dict[str, Formula] = {
    module.FORMULA.name: module.FORMULA
    for module in (
        spacing_dwell,
        known_acceleration,
        fixed_release,
        rear_edge,
        four_edge,
        three_gates,
        encoder_pitch,
    )
}

__all__ = ["FORMULAS", "Constants", "Counts", "Formula"]
