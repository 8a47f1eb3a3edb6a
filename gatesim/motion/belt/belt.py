"""A conveyor belt."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.quantity import accepts


@dataclass(frozen=True)
@accepts(
    speed="m/s",
    friction="",
    start="m",
    start_speed="m/s",
    ramp="s",
    ripple="",
    ripple_frequency="Hz",
    ripple_phase="rad",
)
class Belt:
    """A belt that takes the part over where its leading end reaches ``start`` (m).

    speed: m/s after run-up. friction: Coulomb coefficient between part and belt; from ``start``
    on it replaces the path's. start_speed: speed at release (time 0), from which the belt
    reaches ``speed`` evenly within ``ramp`` (s). ripple: amplitude of a sinusoidal speed
    variation relative to the speed, below 1, with ripple_frequency (Hz) and ripple_phase (rad).

    V(t) = [V_0 + (V - V_0) min(t/ramp, 1)] [1 + r sin(2 pi f t + phase)]. The belt pulls with
    friction * normal force until the speeds match, and carries the part from then on for as long as
    friction suffices; where it does not, the part slips on, or slips and sticks in turn. One coefficient
    serves at rest and in motion. For parts that slide, not for ones that roll.
    """

    speed: Scalar
    friction: Scalar
    start: Scalar = 0.0
    start_speed: Scalar = 0.0
    ramp: Scalar = 0.0
    ripple: Scalar = 0.0
    ripple_frequency: Scalar = 0.0
    ripple_phase: Scalar = 0.0

    def velocity(self, t: Array) -> Array:
        """Belt speed in m/s at times t (s) since release; shape of t, (n,) last."""
        v: Array = self._even(t) * (1 + self.ripple * np.sin(self._angular * t + self.ripple_phase))
        return v

    def travel(self, t: Array) -> Array:
        """Travel of the belt in m since release, in closed form; shape of t, (n,) last."""
        early = np.minimum(t, self.ramp)
        late = t - early
        even = (self.start_speed + self._rate * early / 2) * early + self.speed * late
        # integral of (V0 + k t) sin(w t + p) by parts; w = 0 leaves sin(p) and is kept apart
        w = np.where(self._angular == 0, 1.0, self._angular)
        p = self.ripple_phase

        def wave(speed: Array, rate: Scalar, at: Array) -> Array:
            value: Array = -speed * np.cos(w * at + p) / w + rate * np.sin(w * at + p) / w**2
            return value

        zero = np.zeros_like(early)
        ramped = wave(self._even(early), self._rate, early) - wave(self.start_speed + zero, self._rate, zero)
        flat = wave(self.speed + zero, 0.0, t) - wave(self.speed + zero, 0.0, early)
        swing = ramped + np.where(late > 0, flat, 0.0)
        return even + self.ripple * np.where(self._angular == 0, even * np.sin(p), swing)

    def time_of(self, travel: Array, after: Array) -> Array:
        """Times (k, n) at which ``travel`` (k, n) is reached, none before ``after`` (n,).

        Newton's method kept within a shrinking bracket; travel grows with time as ripple < 1.
        """
        low = np.broadcast_to(after, travel.shape)
        missing = travel - self.travel(low)
        # run-up at worst adds its whole duration, ripple at worst its whole amplitude
        slowest = self.speed * (1 - np.abs(self.ripple))
        high = np.maximum(low, self.ramp) + np.maximum(missing, 0.0) / slowest
        t = np.clip(low + missing / self.speed, low, high)
        settled = np.isnan(t)
        for _ in range(200):
            miss = self.travel(t) - travel
            high, low = np.where(miss >= 0, t, high), np.where(miss < 0, t, low)
            with np.errstate(divide="ignore", invalid="ignore"):  # a belt starting from rest
                newton = t - miss / self.velocity(t)
            inside = (newton >= low) & (newton <= high)
            following = np.where(inside, newton, low + (high - low) / 2)
            # a settled time stays as it is, or its last bit would depend on the other trials
            following = np.where(settled, t, following)
            settled = settled | (np.abs(following - t) <= 1e-15 * t)
            t = following
            if settled.all():
                break
        return t

    def acceleration(self, t: Array) -> Array:
        """Acceleration of the belt in m/s^2 at times t (s); shape of t, (n,) last."""
        angle = self._angular * t + self.ripple_phase
        ramping = np.where(t < self.ramp, self._rate, 0.0) * (1 + self.ripple * np.sin(angle))
        return ramping + self._even(t) * self.ripple * self._angular * np.cos(angle)

    def band(self, after: Array) -> tuple[Array, Array]:
        """Bounds (n,) of the belt's speed at times past ``after`` (n,), in m/s."""
        now, swing = self._even(after), np.abs(self.ripple)
        return np.minimum(now, self.speed) * (1 - swing), np.maximum(now, self.speed) * (1 + swing)

    def steepest(self, after: Array) -> tuple[Array, Array]:
        """Bounds (n,) of the belt's acceleration at times past ``after`` (n,), in m/s^2."""
        swing = np.abs(self.ripple * self._angular) * np.maximum(self.speed, self.start_speed)
        ramping = np.where(after < self.ramp, self._rate, 0.0) * (1 + np.abs(self.ripple))
        return np.minimum(ramping, 0.0) - swing, np.maximum(ramping, 0.0) + swing

    @property
    def _angular(self) -> Scalar:
        return 2 * np.pi * self.ripple_frequency

    @property
    def _rate(self) -> Scalar:
        """Acceleration during run-up in m/s^2."""
        with np.errstate(divide="ignore", invalid="ignore"):
            rate = np.asarray((self.speed - self.start_speed) / np.asarray(self.ramp))
        return np.where(np.asarray(self.ramp) > 0, rate, 0.0)

    def _even(self, t: Array) -> Array:
        """Belt speed without ripple."""
        return np.where(t >= self.ramp, self.speed, self.start_speed + self._rate * np.minimum(t, self.ramp))
