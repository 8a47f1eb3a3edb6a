"""Slip for a few turns of a ripple, under forces that depend on speed only: a power series in time."""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.sums import weighted

DEGREE = 6
"""Of the acceleration in time."""

SWEEPS = 7
"""Successive approximations; each is closer by the share of the speed's memory that is lost meanwhile."""

SURE = 1e-13
"""What the acceleration at the end, and the last sweep, may be off, as a share of the speed."""


@dataclass(frozen=True)
class Slide:
    """Motion of n trials from a speed v on.

    a: (n,) acceleration at first; more: (d, n) its powers of tau/span, from the first on.
    sure: (n,) whether it holds for times up to ``span`` (n,).
    """

    v: Array
    a: Array
    more: Array
    span: Array
    sure: Flags

    @classmethod
    def of(cls, dynamics: Dynamics, push: Array, v: Array, span: Array) -> "Slide":
        """Under ``dynamics``, the same all along, and a constant acceleration ``push`` (n,) on top."""
        a = dynamics.acceleration(None, v) + push
        if not dynamics.terms:
            return cls(v, a, np.zeros((0, v.size)), span, np.ones(v.shape, bool))
        place, matrix, integral = _places()
        speed, change = v + a * span * place[:, None], np.zeros((DEGREE, v.size))
        for _ in range(SWEEPS):
            before, change = change, dynamics.acceleration(None, speed) + push - a
            speed = v + span * (a * place[:, None] + weighted(integral, change))
        found = cls(v, a, weighted(matrix, change), span, np.ones(v.shape, bool))
        speed, own, _ = found.moving(span)
        left = np.abs(dynamics.acceleration(None, speed) + push - own)
        left = np.maximum(left, np.abs(change - before).max(axis=0))
        return replace(found, sure=left * span <= SURE * (np.abs(v) + np.abs(a) * span))

    def moving(self, tau: Array) -> tuple[Array, Array, Array]:
        """Speed, acceleration and its derivative at times tau (..., n) from the start on."""
        share = tau / self.span
        mean, own, slope = (np.zeros(share.shape) for _ in range(3))
        for power in range(len(self.more), 0, -1):
            c = self.more[power - 1]
            mean, own, slope = mean * share + c / (power + 1), own * share + c, slope * share + power * c
        return self.v + tau * (self.a + share * mean), self.a + share * own, slope / self.span

    def way(self, tau: Array) -> Array:
        """Way at times tau (n,)."""
        share = tau / self.span
        mean = np.zeros(share.shape)
        for power in range(len(self.more), 0, -1):
            mean = mean * share + self.more[power - 1] / ((power + 1) * (power + 2))
        return tau * (self.v + tau * (0.5 * self.a + share * mean))


@lru_cache
def _places() -> tuple[Array, Array, Array]:
    """Places (d,) from 0 to 1, and matrices from a change there, 0 at 0, to its powers and its integrals."""
    place: Array = 0.5 - 0.5 * np.cos(np.pi * (np.arange(DEGREE) + 0.5) / DEGREE)
    power = np.arange(1.0, DEGREE + 1)
    matrix: Array = np.linalg.inv(place[:, None] ** power)
    return place, matrix, (place[:, None] ** (power + 1) / (power + 1)) @ matrix
