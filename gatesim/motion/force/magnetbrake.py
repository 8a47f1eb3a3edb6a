"""Eddy-current brake computed from its magnets: its own drag curve, and its own share along the path."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np

from gatesim.ground.arrays import Array, Scalar, first_of, plain
from gatesim.motion.closedform.dragcurve import drag_curve
from gatesim.motion.closedform.lineardrag import linear_drag
from gatesim.motion.force.base import Hold
from gatesim.motion.force.eddybrake import EddyBrake
from gatesim.motion.magnets.curve import Curve
from gatesim.motion.magnets.pieces import DEGREE, Profile
from gatesim.motion.magnets.strength import Strength
from gatesim.motion.path import Body, Path

SLIGHT = 0.02
"""Share of the largest force below which a fading field has no hold, and which a full hold may lack."""
POINTS = 64
"""A piece of the profile, at which its hold is looked for."""


@dataclass(frozen=True, kw_only=True)
class MagnetBrake(EddyBrake):
    """A brake of magnets (or, for a magnet that moves, of a tube) from ``start`` over ``length`` (m).

    coefficient: b in kg/s. curve: F = b v times its weakening at v/stretch, a sum of drag curves of one
    peak each. profile: share of b over the leading end's travel from ``start``, mirrored about the middle
    of the passage; worked out for the nominal part, its second half moves with the part's length.
    peak_force, critical_speed: of the exact curve, for judgement. uncertainty: of the model, relative and
    standard. remark: a sentence to add.
    """

    coefficient: Scalar
    uncertainty: float
    remark: str = ""
    stretch: Scalar
    curve: Curve
    profile: Profile

    degree: ClassVar[int] = DEGREE

    @classmethod
    def scaled(
        cls,
        zone: tuple[Scalar, Scalar],
        strength: Strength,
        nominal: Strength,
        scale: tuple[Scalar, Scalar],
        **others: Any,
    ) -> "MagnetBrake":
        """A brake from strengths at 1 T and 1 S/m.

        zone: start and length. strength: of every trial; nominal: that for which the curve is. scale: what
        the force goes with in T^2, the conductivity in S/m. others: the other fields.
        """
        factor, conductivity = scale
        return cls(
            *zone,
            plain(strength.peak_force * factor),
            plain(strength.critical_speed / conductivity),
            coefficient=plain(strength.coefficient * factor * conductivity),
            stretch=plain(strength.critical_speed / nominal.critical_speed / conductivity),
            **others,
        )

    def cover(self, x: Array, part: Body) -> Array:
        """Share of the whole force that acts with the leading end at x (n,)."""
        travel = x - self.start
        return self.profile.over(np.minimum(travel, self.length + part.length - travel))

    def plateau(self, part: Body) -> tuple[Scalar, Scalar]:
        """Positions of the leading end between which the share is, or passes from and to, its largest."""
        corners = self.kinks(part)
        return plain(corners[0]), plain(corners[-1])

    def hold(self, part: Body) -> Hold:
        """See `Force.hold`: the field fades out beyond the magnets, and is uneven between them."""
        at = np.linspace(self.profile.at[0], self.profile.at[-1], 1 + POINTS * len(self.profile.powers))
        share = self.profile.over(at) / self.profile.largest
        floor = min(1.0 - SLIGHT, *share[int(np.argmax(share >= 1.0 - SLIGHT)) :].tolist())
        start = first_of(self.start)
        mirror = 2 * start + first_of(self.length) + first_of(part.length)
        enters = start + float(at[int(np.argmax(share > SLIGHT)) - 1])
        if floor < SLIGHT:  # it lets go of the part between two magnets
            return Hold(enters, mirror / 2, mirror / 2, mirror - enters, 1.0 - floor)
        full = _rises(at, share, floor)
        return Hold(enters, start + full, mirror - start - full, mirror - enters, 1.0 - floor)

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Peak and knots of the profile, there and back; none beyond the middle, where it turns round."""
        end = self.start + self.length + part.length
        middle = (self.start + end) / 2
        places = (self.profile.peak, *self.profile.at)
        there = [np.minimum(self.start + at, middle) for at in places]
        back = [np.maximum(end - at, middle) for at in reversed(places)]
        return (*there, *back)

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """-b times the share, in kg/s."""
        return -self.coefficient * self.cover(x, part)

    def law(self, v: Array) -> Array:
        """Speed times the sum of share/(1 + (v/speed)^2), in m/s."""
        if self.linear:
            return v
        total: Array | None = None
        for share, speed in zip(self.curve.shares, self.curve.speeds, strict=True):
            ratio = v / (speed * self.stretch)
            ratio *= ratio
            ratio += 1
            np.divide(v, ratio, out=ratio)
            if total is None and share == 1:  # the only one
                return ratio
            ratio *= share
            total = ratio if total is None else np.add(total, ratio, out=total)
        assert total is not None, "a curve has a term"
        return total

    def rates(self, v: Array) -> tuple[Array, Array]:
        """The law, and the sum of share (1 - r^2)/(1 + r^2)^2 with r = v/speed."""
        if self.linear:
            return v, np.ones_like(v)
        law = slope = None
        for share, speed in zip(self.curve.shares, self.curve.speeds, strict=True):
            part = v / (speed * self.stretch)
            part *= part
            part += 1
            np.divide(1.0, part, out=part)
            its = 2 * part
            its -= 1
            its *= part
            if share != 1:
                part *= share
                its *= share
            law = part if law is None else np.add(law, part, out=law)
            slope = its if slope is None else np.add(slope, its, out=slope)
        assert law is not None, "a curve has a term"
        assert slope is not None, "as many"
        law *= v
        return law, slope

    def alone(self, drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array] | None:
        """The curve where it has one term, or linear drag."""
        if self.linear:
            return linear_drag(drive, strength, size, v)
        if len(self.curve.shares) > 1:
            return None
        critical = np.broadcast_to(self.curve.speeds[0] * self.stretch, v.shape)
        return drag_curve(drive, strength * critical**2, size, v, critical)

    def largest_cover(self, part: Body) -> Scalar:
        """Largest of the shares."""
        return self.profile.largest

    @property
    def low_speed_coefficient(self) -> Scalar:
        """See `EddyBrake.low_speed_coefficient`."""
        return self.coefficient

    def figures(self, part: Body, path: Path) -> Mapping[str, float | None]:
        """See `Force.figures`."""
        return {**super().figures(part, path), "model_relative_standard_uncertainty": self.uncertainty}

    def words(self, part: Body, path: Path) -> str:
        """See `Force.words`."""
        unsure = f"The model's standard uncertainty is {100 * self.uncertainty:.2g} % of the force."
        return " ".join(filter(None, (super().words(part, path), unsure, self.remark)))


def _rises(at: Array, share: Array, level: float) -> float:
    """Where a curve that begins below the level, and ends above it, reaches it for good."""
    i = int(np.flatnonzero(share < level)[-1])
    return float(at[i] + (level - share[i]) / (share[i + 1] - share[i]) * (at[i + 1] - at[i]))
