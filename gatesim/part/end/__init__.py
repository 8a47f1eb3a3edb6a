"""Shapes of a part's ends."""

from gatesim.ground.family import Family
from gatesim.part.end.base import End, EndTable
from gatesim.part.end.chamfer import ChamferedEnd, ChamferedEndTable
from gatesim.part.end.cone import ConicalEndTable
from gatesim.part.end.round import RoundEnd, RoundEndTable
from gatesim.part.end.square import SquareEnd, SquareEndTable

ENDS = Family(
    "shape",
    (
        SquareEndTable,
        ChamferedEndTable,
        ConicalEndTable,
        RoundEndTable,
    ),
)
"""All that a scenario may have, a line each."""

SQUARE = SquareEndTable(shape="square")
"""What a part has of whose end the scenario says nothing."""

__all__ = ["ENDS", "SQUARE", "ChamferedEnd", "End", "EndTable", "RoundEnd", "SquareEnd"]
