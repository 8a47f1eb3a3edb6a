"""What every force along the path has in common.

A force is strength(x) * law(v): its strength is piecewise linear in position, between kinks
that are known beforehand; its law depends on speed alone. The integrator goes from kink to
kink, where everything is smooth.
"""

from typing import Protocol

from gatesim.ground.arrays import Array, Scalar
from gatesim.motion.path import Body, Path


class Force(Protocol):
    """A force along the path, positive downhill; frozen dataclasses of floats and (n,) arrays."""

    @property
    def steady(self) -> bool:
        """True when the law is 1: the force does not depend on speed."""
        ...

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Positions of the leading end (m) at which the strength, or its slope, jumps."""
        ...

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """Factor of the law at positions x (..., n); the force in N when ``steady``."""
        ...

    def law(self, v: Array) -> Array:
        """Dependence on speed v (m/s, positive); shape of v."""
        ...

    def added_mass(self, x: Array) -> Scalar:
        """Mass (kg) that moves with the part at positions x."""
        ...
