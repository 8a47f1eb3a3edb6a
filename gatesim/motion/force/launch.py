"""Launch by a spring or an elastic band."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.quantity import accepts
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
@accepts(stiffness="N/m", stretch="m", carrier_mass="kg")
class Launch:
    """A spring or band, loaded at release, that pushes until its natural length.

    stiffness: k in N/m. stretch: travel from release to the natural length in m.
    carrier_mass: what moves along until then (pusher, and by Rayleigh's rule a third of the
    spring's own mass), in kg; its guide is taken as frictionless, its weight acts.

    F = k (stretch - x) for x < stretch, else 0 (Hooke's law). Stored elastic energy hurts: guard it.
    """

    stiffness: Scalar
    stretch: Scalar
    carrier_mass: Scalar = 0.0

    steady: ClassVar[bool] = True

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """The natural length."""
        return (self.stretch,)

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """Force of the spring and weight of the carrier in N."""
        pushing = x < self.stretch
        force = self.stiffness * (self.stretch - x) + path.weight(self.carrier_mass)
        return np.where(pushing, force, 0.0)

    def law(self, v: Array) -> Array:
        """1: the force does not depend on speed."""
        return np.ones_like(v)

    def added_mass(self, x: Array) -> Scalar:
        """Carrier's mass until the natural length."""
        return np.where(x < self.stretch, self.carrier_mass, 0.0)
