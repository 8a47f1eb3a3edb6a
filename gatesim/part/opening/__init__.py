"""Openings of a part, where light passes."""

from gatesim.ground.family import Family
from gatesim.part.opening.base import Opening, OpeningTable
from gatesim.part.opening.hole import Hole, HoleTable
from gatesim.part.opening.notch import Notch, NotchTable

OPENINGS = Family(
    "kind",
    (
        NotchTable,
        HoleTable,
    ),
)
"""All that a scenario may have, a line each."""

__all__ = ["OPENINGS", "Hole", "Notch", "Opening", "OpeningTable"]
