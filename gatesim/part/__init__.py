"""The part: length, mass and silhouette."""

from gatesim.part.end import ENDS, SQUARE, ChamferedEnd, End, EndTable, RoundEnd, SquareEnd
from gatesim.part.opening import OPENINGS, Hole, Notch, Opening, OpeningTable
from gatesim.part.outline import Piece
from gatesim.part.part import Part, pieces_of

__all__ = [
    "ENDS",
    "OPENINGS",
    "SQUARE",
    "ChamferedEnd",
    "End",
    "EndTable",
    "Hole",
    "Notch",
    "Opening",
    "OpeningTable",
    "Part",
    "Piece",
    "RoundEnd",
    "SquareEnd",
    "pieces_of",
]
