"""Eddy-current brake: magnets along a stretch of the path, acting on a conducting part."""

from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from gatesim.ground.arrays import Array, Scalar, plain
from gatesim.ground.quantity import accepts
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
@accepts(start="m", length="m", peak_force="N", critical_speed="m/s")
class EddyBrake:
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

    def added_mass(self, x: Array) -> Scalar:
        """Nothing moves along."""
        return 0.0
