"""The part whose length is the measurand, and its silhouette across the beam."""

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from gatesim.draw import Array
from gatesim.quantity import Scalar


@dataclass(frozen=True)
class End:
    """An end of the part: ``length`` (m) along the axis over which its height grows.

    The half-height grows from ``tip_height``/2 at the very end to the part's own: evenly
    (chamfer; cone with tip 0), or as an ellipse ('round': a hemisphere where the length is
    half the height). A square end has length 0.
    """

    shape: Literal["square", "chamfer", "cone", "round"] = "square"
    length: float = 0.0
    tip_height: float = 0.0

    def half_height(self, depth: Array, full: float) -> Array:
        """Half-height at ``depth`` (m) behind the tip, for a part of half-height ``full``."""
        if self.length == 0.0:
            return np.full(depth.shape, full)
        share = np.clip(depth / self.length, 0.0, 1.0)
        tip = 0.5 * self.tip_height
        if self.shape == "round":
            return full * np.sqrt(np.maximum(0.0, 1.0 - (1.0 - share) ** 2))
        return tip + (full - tip) * share


@dataclass(frozen=True)
class Opening:
    """Where light passes: ``start`` (m) behind the leading end, ``length`` (m) along the axis.

    A hole leaves material beyond ``height``/2 on both sides of the axis; a notch takes
    ``height`` (m, infinite: all of it) from both sides.
    """

    kind: Literal["notch", "hole"]
    start: float
    length: float
    height: float = np.inf


@dataclass(frozen=True)
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
