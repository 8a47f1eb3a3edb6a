"""Eddy-current brake: magnets along a stretch of the path, acting on a conducting part."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import ClassVar, Literal

import numpy as np
from pydantic import Field

from gatesim.ground import keys
from gatesim.ground.arrays import Array, Scalar, first_of, plain
from gatesim.ground.caution import Caution
from gatesim.ground.quantity import accepts
from gatesim.ground.suggestion import Suggestion
from gatesim.ground.table import Misfit, TableValues
from gatesim.ground.text import as_mm
from gatesim.motion.closedform.dragcurve import drag_curve
from gatesim.motion.closedform.lineardrag import linear_drag
from gatesim.motion.force.base import Crest, Drawn, Force, ForceTable, Situation
from gatesim.motion.force.magnet import SHAPE, Magnet
from gatesim.motion.path import Body, Path

SETTLING = 5.0  # lengths v^2/a over which a braked part nears its steady speed
STRONGER = 1.5


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
        """(v_c^2 - v^2)/(v_c^2 + v^2)^2 in s^2/m^2 (linear: 1)."""
        if self.linear:
            return np.ones_like(v)
        square, scale = v * v, self.critical_speed * self.critical_speed
        return (scale - square) / (scale + square) ** 2

    def alone(self, drive: Array, strength: Array, size: Array, v: Array) -> tuple[Array, Array]:
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

    def runaway_words(self, part: Body, path: Path, ratio: float, gain: float) -> str:
        """See `Force.runaway_words`."""
        told = (
            f"In the brake the part runs at {ratio:.3g} times the critical speed, on the falling side of the "
            f"drag curve, and still gains {gain:.3g} m/s²: the faster it gets, the less it is braked. "
        )
        drive = path.weight(part.mass) - path.resistance(part.mass)
        if not first_of(self.peak_force * np.minimum(1.0, part.length / self.length) - drive) > 0.0:
            return (
                f"{told}The brake's peak force is below what drives the part, so that no speed is braked "
                "away: use a stronger brake or a gentler slope."
            )
        return f"{told}Let it enter slower, or use a stronger brake or one with a higher critical speed."


class BrakeTable(ForceTable):
    """An eddy-current brake over a zone of the path.

    Its strength is given in exactly one way: peak_force, drag_coefficient,
    terminal_speed or magnet.
    """

    key: ClassVar[str] = "brake"
    needs_mass: ClassVar[bool] = True
    drives: ClassVar[bool] = False
    carries: ClassVar[bool] = False
    takes_rolling: ClassVar[bool] = True

    start: keys.Distance = Field(description="Distance from the leading end at release to the magnet zone.")
    length: keys.Length = Field(description="Length of the magnet zone.")
    law: Literal["full", "linear"] = Field(
        default="full", description="Full drag curve with its peak, or force proportional to speed."
    )
    peak_force: keys.Force | None = Field(
        default=None, description="Greatest force, at the critical speed, zone covered by the part."
    )
    critical_speed: keys.Speed | None = Field(default=None, description="Speed at which the force peaks.")
    drag_coefficient: keys.Drag | None = Field(
        default=None, description="Force over speed at low speed, zone covered by the part."
    )
    terminal_speed: keys.Speed | None = Field(
        default=None, description="Measured steady speed of this part inside a long zone of this brake."
    )
    terminal_slope: keys.Angle | None = Field(
        default=None, description="Slope at which the terminal speed was measured; left out: the path's."
    )
    magnet: Magnet | None = Field(default=None, description="Magnet and conductor to compute the brake from.")

    def check(self) -> None:
        """See `ForceTable.check`."""
        ways = ("peak_force", "drag_coefficient", "terminal_speed", "magnet")
        given = [way for way in ways if getattr(self, way) is not None]
        if len(given) != 1:
            said = " and ".join(given) or "no strength"
            raise Misfit("brake", said, f"exactly one of {', '.join(ways)}")
        needs_speed = self.magnet is None and (self.law == "full" or given == ["peak_force"])
        if needs_speed and self.critical_speed is None:
            raise Misfit("brake.critical_speed", "nothing", f'a speed such as "2.5 m/s" beside {given[0]}')
        if self.magnet is not None and self.critical_speed is not None:
            text = self.critical_speed.text
            raise Misfit("brake.critical_speed", text, "nothing, since the magnet gives it")
        if self.terminal_slope is not None and self.terminal_speed is None:
            text = self.terminal_slope.text
            raise Misfit("brake.terminal_slope", text, "a terminal_speed that goes with it")
        if self.magnet is not None:
            self.magnet.check()

    def build(self, values: TableValues, part: Body, path: Path) -> EddyBrake:
        """From whichever of its strengths is given. Raises Misfit for a part that friction holds."""
        linear = self.law == "linear"
        start, length = values["start"], values["length"]
        if self.peak_force is not None:
            return EddyBrake(start, length, values["peak_force"], values["critical_speed"], linear)
        if self.terminal_speed is not None:
            slope = values.get("terminal_slope", path.slope)
            measured_on = Path(slope, path.friction, path.gravity)
            critical = np.inf if linear else values["critical_speed"]
            speed = values["terminal_speed"]
            try:
                return EddyBrake.from_terminal_speed(start, length, speed, part, measured_on, critical)
            except ValueError as problem:
                given = f"{self.terminal_speed.text} ({problem})"
                expected = "a slope on which the part slides"
                raise Misfit("brake.terminal_speed", given, expected) from None
        if self.magnet is not None:
            coefficient, critical = self.magnet.brake(values.inner("magnet"))
        else:
            # the linear law needs no critical speed: any finite scale gives the same force
            coefficient, critical = values["drag_coefficient"], values.get("critical_speed", 1.0)
        return EddyBrake.from_coefficient(start, length, coefficient, critical, linear)

    @classmethod
    def suggested(cls, situation: Situation) -> Suggestion | None:
        """Magnets from the release to beyond the gates, whose steady speed is reached well before gate 1."""
        s = situation
        if not s.bare or s.mass is None:
            return None
        pull = math.sin(s.slope) - s.friction * math.cos(s.slope)
        if pull <= 0.0:  # friction slows the part already
            return None
        # from rest v^2 = 2 a x: this steady speed is neared over SETTLING lengths v^2/a before gate 1
        steady, critical = s.speed / (2.0 * SETTLING) ** 0.5, 3.0 * s.speed
        # F = b v / (1 + (v/v_c)^2), the full drag curve by its slope at low speed
        force = s.mass * s.gravity * pull
        drag = force / steady * (1.0 + (steady / critical) ** 2)
        table = {
            "start": "0 mm",
            "length": as_mm(s.last + s.length),
            "drag_coefficient": f"{drag:.4g} kg/s",
            "critical_speed": f"{critical:.4g} m/s",
        }
        how = (
            f"{drag:.3g} kg/s from the release to beyond the last gate, for a steady speed of "
            f"{steady:.2f} m/s; takes a conducting part"
        )
        return Suggestion("eddy-current brake along the path", how, {cls.key: table})

    def stronger(self) -> Suggestion | None:
        """Half as strong again, whichever way its strength is given."""
        if self.magnet is not None:
            return None
        units = {"peak_force": "N", "drag_coefficient": "kg/s", "terminal_speed": "m/s"}
        key = next(k for k in units if getattr(self, k))
        value = getattr(self, key)
        new = value.nominal * (1.0 / STRONGER if key == "terminal_speed" else STRONGER)
        text = f"{new:.6g} {units[key]}"
        how = f"{key.replace('_', ' ')} {text} instead of {value.text}"
        return Suggestion("stronger brake", how, {f"{self.key}.{key}": text})

    def without_spread(self) -> Mapping[str, str]:
        """The magnet's dimensions."""
        return {f"magnet.{key}": "give the spread to remanence or conductivity" for key in SHAPE}

    def caution(self) -> Caution:
        """Its magnets."""
        return Caution(
            "Strong magnets",
            "they pinch fingers and pull in steel, and disturb pacemakers, implants, cards and data "
            "carriers: keep people with implants away, and handle them one at a time.",
        )

    def drawn(self) -> Drawn:
        """Magnets above and below the path."""
        start = self.start.nominal
        return Drawn("magnets", start, start + self.length.nominal, "hatched bars the magnets")
