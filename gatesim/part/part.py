"""The part whose length is the measurand, and its silhouette across the beam."""

from dataclasses import dataclass, field, replace

import numpy as np

from gatesim.ground.arrays import Scalar
from gatesim.ground.quantity import accepts
from gatesim.part.end import End, SquareEnd
from gatesim.part.opening import Opening
from gatesim.part.outline import Piece, Straight


@dataclass(frozen=True)
@accepts(length="m", mass="kg", inertia_factor="", height="m", tilt="rad", width="m")
class Part:
    """A part; ``length`` (m), ``mass`` (kg), ``inertia_factor`` I/(m r^2) (0 if it slides).

    ``height`` (m) across the beam, infinite if it covers any beam; ``width`` (m) along it. ``tilt``
    (rad) in the plane of the beam. ``round``: whether its cross-section is a circle. Length, mass,
    factor and tilt may be (n,) arrays; the silhouette is the same in all trials.
    """

    length: Scalar
    mass: Scalar = 1.0
    inertia_factor: Scalar = 0.0
    height: float = np.inf
    front: End = field(default_factory=SquareEnd)
    rear: End = field(default_factory=SquareEnd)
    openings: tuple[Opening, ...] = ()
    tilt: Scalar = 0.0
    round: bool = False
    width: float = 0.0

    def silhouette(self, length: float) -> "Part":
        """The same outline on a part of one length (m): what a beam sees, free of trials."""
        return replace(self, length=length, mass=1.0, inertia_factor=0.0, tilt=0.0, width=0.0)


def pieces_of(part: Part, length: float) -> list[Piece]:
    """Pieces of a part of that length (m): material, and holes that are taken out of it."""
    full = 0.5 * part.height
    pieces = part.front.pieces(full, 0.0, front=True)
    body, stop = part.front.length, length - part.rear.length
    for opening in part.openings:
        pieces.append(Straight(body, opening.start, full))
        pieces += opening.pieces(full)
        body = opening.start + opening.length
    pieces.append(Straight(body, stop, full))
    pieces += part.rear.pieces(full, length, front=False)
    return [piece for piece in pieces if piece.high > piece.low]
