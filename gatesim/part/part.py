"""The part whose length is the measurand, and its silhouette across the beam."""

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from gatesim.ground.arrays import Scalar
from gatesim.ground.quantity import accepts


@dataclass(frozen=True)
@accepts(length="m", tip_height="m")
class End:
    """An end of the part: ``length`` (m) along the axis over which its height grows.

    The half-height grows from ``tip_height``/2 at the very end to the part's own: evenly
    (chamfer; cone with tip 0), or as an ellipse ('round': a hemisphere where the length is
    half the height). A square end has length 0.
    """

    shape: Literal["square", "chamfer", "cone", "round"] = "square"
    length: float = 0.0
    tip_height: float = 0.0

    def depth_of(self, across: float, full: float) -> float:
        """Depth (m) behind the tip from which an end of half-height ``full`` reaches ``across`` (m)."""
        tip = 0.5 * self.tip_height
        if self.length == 0.0 or across <= tip:
            return 0.0
        if self.shape == "round":
            return self.length * (1.0 - math.sqrt(1.0 - (across / full) ** 2))
        return self.length * (across - tip) / (full - tip)


@dataclass(frozen=True)
@accepts(start="m", length="m", height="m")
class Opening:
    """Where light passes: ``start`` (m) behind the leading end, ``length`` (m) along the axis.

    A hole leaves material beyond ``height``/2 on both sides of the axis; a notch takes
    ``height`` (m, infinite: all of it) from both sides.
    """

    kind: Literal["notch", "hole"]
    start: float
    length: float
    height: float = np.inf

    def lets_through(self, across: float, full: float) -> bool:
        """Whether light passes at a distance from the axis (m) of a part of half-height ``full``."""
        if self.kind == "hole":
            return across < 0.5 * self.height
        return np.isinf(self.height) or across > full - self.height


@dataclass(frozen=True)
@accepts(length="m", mass="kg", inertia_factor="", height="m", tilt="rad")
class Part:
    """A part; ``length`` (m), ``mass`` (kg), ``inertia_factor`` I/(m r^2) (0 if it slides).

    ``height`` (m) across the beam, infinite if it covers any beam. ``tilt`` (rad) in the
    plane of the beam. Length, mass, factor and tilt may be (n,) arrays; the silhouette is
    the same in all trials.
    """

    length: Scalar
    mass: Scalar = 1.0
    inertia_factor: Scalar = 0.0
    height: float = np.inf
    front: End = End()
    rear: End = End()
    openings: tuple[Opening, ...] = ()
    tilt: Scalar = 0.0

    def silhouette(self, length: float) -> "Part":
        """The same outline on a part of one length (m): what a beam sees, free of trials."""
        return replace(self, length=length, mass=1.0, inertia_factor=0.0, tilt=0.0)
