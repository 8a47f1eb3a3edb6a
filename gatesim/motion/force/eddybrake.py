"""Eddy-current brake: magnets along a stretch of the path, acting on a conducting part."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array, Scalar, first_of, plain
from gatesim.ground.quantity import accepts
from gatesim.ground.text import short
from gatesim.motion.closedform.dragcurve import drag_curve
from gatesim.motion.closedform.lineardrag import linear_drag
from gatesim.motion.force.base import Crest, Force, Hold
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
@accepts(start="m", length="m", peak_force="N", critical_speed="m/s")
class EddyBrake(Force):
    """A brake that covers the path from ``start`` over ``length`` (m).

    peak_force: F_max in N with the part over the whole length of the brake.
    critical_speed: v_c in m/s, where the force is largest. linear: use the law of low speeds.

    F = -F_max 2 (v/v_c)/(1 + (v/v_c)^2), or -F_max 2 v/v_c if linear, times the share of the
    brake that the part covers (Wouterse, IEE Proc. B 138 (1991) 153; Smythe, Trans. AIEE 61
    (1942) 681; from memory). Above v_c the force falls, so a fast part can run away.
    """

    start: Scalar
    length: Scalar
    peak_force: Scalar
    critical_speed: Scalar
    linear: bool = False

    steady: ClassVar[bool] = False

    @classmethod
    def from_coefficient(
        cls, start: Scalar, length: Scalar, coefficient: Scalar, critical_speed: Scalar, linear: bool = False
    ) -> "EddyBrake":
        """Brake with low-speed force ``coefficient`` * v (kg/s): F_max = b v_c/2."""
        return cls(start, length, coefficient * critical_speed / 2, critical_speed, linear)

    @classmethod
    def from_terminal_speed(
        cls,
        start: Scalar,
        length: Scalar,
        terminal_speed: Scalar,
        part: Body,
        path: Path,
        critical_speed: Scalar = np.inf,
    ) -> "EddyBrake":
        """Brake on which ``part``, covering as much of it as it can, keeps ``terminal_speed`` on ``path``.

        Without a critical speed the linear law is meant. Weight less friction equals the braking
        force at that speed. A terminal speed on the falling branch (above v_c) is unstable but allowed.

        Raises ValueError where friction alone holds the part.
        """
        drive = path.weight(part.mass) - path.resistance(part.mass)
        if np.any(np.asarray(drive) <= 0):
            raise ValueError("no terminal speed on this path: friction alone holds the part")
        full = drive / np.minimum(1.0, part.length / np.asarray(length))
        linear = bool(np.all(np.isinf(critical_speed)))
        scale = terminal_speed if linear else critical_speed
        ratio = terminal_speed / scale
        peak = full / (2 * ratio) if linear else full * (1 + ratio**2) / (2 * ratio)
        return cls(start, length, plain(peak), plain(scale), linear)

    def cover(self, x: Array, part: Body) -> Array:
        """Share of the brake's length that a part with its leading end at x covers, 0..1."""
        # clipped like this the share is exactly constant on the plateau, free of rounding in x
        ramp = np.minimum(x - self.start, self.start + self.length + part.length - x)
        share: Array = np.clip(ramp, 0.0, np.minimum(self.length, part.length)) / self.length
        return share

    def plateau(self, part: Body) -> tuple[Scalar, Scalar]:
        """Positions of the leading end between which the part covers as much as it can."""
        ends = (self.start + part.length, self.start + self.length)
        return plain(np.minimum(*ends)), plain(np.maximum(*ends))

    def kinks(self, part: Body) -> tuple[Scalar, ...]:
        """Where the part enters, covers most, begins to uncover, and leaves."""
        return (
            self.start,
            self.start + self.length,
            self.start + part.length,
            self.start + self.length + part.length,
        )

    def strength(self, x: Array, part: Body, path: Path) -> Scalar:
        """-2 F_max v_c * cover in N m/s (linear: -2 F_max/v_c * cover in kg/s)."""
        scale = 1 / self.critical_speed if self.linear else self.critical_speed
        return -2 * self.peak_force * scale * self.cover(x, part)

    def law(self, v: Array) -> Array:
        """v/(v_c^2 + v^2) in s/m (linear: v)."""
        if self.linear:
            return v
        below = v * v
        below += self.critical_speed * self.critical_speed
        return np.divide(v, below, out=below)

    def slope(self, v: Array) -> Array:
        """See `rates`."""
        return self.rates(v)[1]

    def rates(self, v: Array) -> tuple[Array, Array]:
        """The law, and (v_c^2 - v^2)/(v_c^2 + v^2)^2 in s^2/m^2 (linear: 1)."""
        if self.linear:
            return v, np.ones_like(v)
        scale = self.critical_speed * self.critical_speed
        below = v * v
        below += scale
        np.divide(1.0, below, out=below)
        slope = below * (2 * scale)
        slope -= 1
        slope *= below
        below *= v
        return below, slope

    def alone(self, drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array] | None:
        """The full curve, or linear drag."""
        if self.linear:
            return linear_drag(drive, strength, size, v)
        return drag_curve(drive, strength, size, v, np.broadcast_to(self.critical_speed, v.shape))

    def added_mass(self, x: Array) -> Scalar:
        """Nothing moves along."""
        return 0.0

    def crest(self, part: Body) -> Crest | None:
        """The critical speed, where the part covers as much as it can; none under the linear law."""
        return None if self.linear else Crest(*self.plateau(part), self.critical_speed)

    def hold(self, part: Body) -> Hold:
        """See `Force.hold`: from the zone's start to where the trailing end passes its end."""
        full, until = self.plateau(part)
        start, length = first_of(self.start), first_of(self.length)
        return Hold(start, first_of(full), first_of(until), start + length + first_of(part.length))

    def runaway_words(self, part: Body, path: Path, ratio: float, gain: float) -> str:
        """See `Force.runaway_words`."""
        told = (
            f"In the brake the part runs at {ratio:.3g} times the critical speed, on the falling side of the "
            f"drag curve, and still gains {gain:.3g} m/s²: the faster it gets, the less it is braked. "
        )
        drive = path.weight(part.mass) - path.resistance(part.mass)
        if not first_of(self.peak_force * self.largest_cover(part) - drive) > 0.0:
            return (
                f"{told}The brake's peak force is below what drives the part, so that no speed is braked "
                "away: use a stronger brake or a gentler slope."
            )
        return f"{told}Let it enter slower, or use a stronger brake or one with a higher critical speed."

    def largest_cover(self, part: Body) -> Scalar:
        """Largest share of the brake that the part covers on its way."""
        return plain(np.minimum(1.0, part.length / np.asarray(self.length)))

    @property
    def low_speed_coefficient(self) -> Scalar:
        """Force over speed at low speed in kg/s, the whole brake covered."""
        return 2 * self.peak_force / self.critical_speed

    def figures(self, part: Body, path: Path) -> Mapping[str, float | None]:
        """See `Force.figures`."""
        return {
            "low_speed_coefficient_kg_per_s": first_of(self.low_speed_coefficient),
            "peak_force_N": None if self.linear else first_of(self.peak_force),
            "critical_speed_m_per_s": None if self.linear else first_of(self.critical_speed),
            "terminal_speed_m_per_s": self.terminal_speed(part, path),
            "model_relative_standard_uncertainty": None,
        }

    def terminal_speed(self, part: Body, path: Path) -> float | None:
        """Speed in m/s that the first trial nears where it covers most of the brake; None without one.

        The smaller of the two at which the brake balances weight less friction: the stable one.
        """
        at = np.atleast_1d(np.asarray(self.plateau(part)[0], float))
        drive = first_of(path.weight(part.mass) - path.resistance(part.mass))
        strength = -first_of(self.strength(at, part, path))

        def missing(v: float) -> float:
            return strength * first_of(self.law(np.full(at.shape, v))) - drive

        if drive <= 0:
            return None
        if self.linear:
            return drive / strength / first_of(self.law(np.ones(at.shape)))
        low, high = 0.0, first_of(self.critical_speed)
        if missing(high) <= 0:
            return None
        for _ in range(60):  # the force grows up to the critical speed: bisection, without loading scipy
            middle = (low + high) / 2
            low, high = (middle, high) if missing(middle) < 0 else (low, middle)
        return high

    def words(self, part: Body, path: Path) -> str:
        """See `Force.words`."""
        found, slow = self.figures(part, path), first_of(self.low_speed_coefficient)
        terminal, peak = found["terminal_speed_m_per_s"], found["peak_force_N"]
        most = (
            ""
            if peak is None
            else f" and {short(peak, 3)} N at most, at {found['critical_speed_m_per_s']:.3g} m/s"
        )
        share = first_of(self.largest_cover(part))
        covers = "the part covers all of it" if share > 0.99 else f"the part covers {share:.2g} of it at most"
        steady = "" if terminal is None else f", with a steady speed of {terminal:.2g} m/s"
        return (
            f"The brake, all of it covered, takes {short(slow, 3)} kg/s at low speed{most}; {covers}{steady}."
        )
