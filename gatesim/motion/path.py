"""The straight path and what acts on every part on it: weight and dry friction."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from gatesim.ground.arrays import Scalar
from gatesim.ground.quantity import accepts

STANDARD_GRAVITY = 9.80665
"""Standard acceleration of free fall in m/s^2 (3rd CGPM, 1901)."""


class Body(Protocol):
    """What motion needs to know of a part: length (m), mass (kg), c = I/(m r^2) (0 if it slides)."""

    @property
    def length(self) -> Scalar:
        """Length along the path in m."""
        ...

    @property
    def mass(self) -> Scalar:
        """Mass in kg."""
        ...

    @property
    def inertia_factor(self) -> Scalar:
        """I/(m r^2) of a part that rolls without slipping."""
        ...

    @property
    def round(self) -> bool:
        """Whether its cross-section is a circle."""
        ...


@dataclass(frozen=True)
@accepts(slope="rad", friction="", gravity="m/s^2", release_speed="m/s", static_friction="")
class Path:
    """A straight path, downhill positive; the part is released at position 0.

    slope: angle to the horizontal in rad (pi/2 is free fall, negative is uphill).
    friction: Coulomb coefficient between part and path; for a part that rolls (c > 0), the coefficient f
    of rolling resistance, a moment f N r on radius r. static_friction: the coefficient at rest, which a
    sliding part has to overcome to start; as friction if None, and for a part that rolls.
    gravity: m/s^2. release_speed: speed of the part at position 0 in m/s, not negative.

    Equation of motion, Newton's second law with Coulomb friction:
    m (1 + c) dv/dt = m g sin(slope) - friction m g cos(slope) + other forces.

    A rolling part: m dv/dt = m g sin(slope) - S with the friction force S at the contact, and
    c m r^2 (dv/dt)/r = S r - f N r; eliminating S gives the above. Rolling without sliding needs
    S = m (c g sin(slope) + f g cos(slope))/(1 + c) at most mu N, that is a coefficient of friction
    mu >= (c tan(slope) + f)/(1 + c); without rolling resistance tan(slope) c/(1 + c) (as in Halliday
    and Resnick, rolling down a ramp; from memory). That is taken for granted.
    """

    slope: Scalar
    friction: Scalar = 0.0
    gravity: Scalar = STANDARD_GRAVITY
    release_speed: Scalar = 0.0
    static_friction: Scalar | None = None

    def weight(self, mass: Scalar) -> Scalar:
        """Downhill component of the weight of a mass (kg), in N."""
        return mass * self.gravity * np.sin(self.slope)

    def press(self, mass: Scalar) -> Scalar:
        """Normal force between path and part, in N."""
        # cos(pi/2) is 6e-17 in floating point: harmless, but a free fall presses on nothing
        return mass * self.gravity * np.abs(np.cos(self.slope))

    def resistance(self, mass: Scalar) -> Scalar:
        """Largest dry friction force on a part of this mass, in N; it opposes motion."""
        return self.friction * self.press(mass)

    def holding(self, part: Body) -> Scalar:
        """Dry friction force that holds a part at rest, beyond that which opposes its motion, in N."""
        if self.static_friction is None:
            return 0.0
        extra = (self.static_friction - self.friction) * self.press(part.mass)
        return np.where(np.asarray(part.inertia_factor) > 0, 0.0, np.maximum(extra, 0.0))
