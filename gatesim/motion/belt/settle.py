"""On a strong brake a part follows its terminal speed, which changes slowly along the ramps.

Explicit steps over a strong brake are limited by stability, not accuracy: about six relaxation
lengths each, while hardly anything changes any more. With relaxation time tau = -1/(da/dv) and
w(x) the speed of no acceleration, the part's speed tends to w (1 - e) with e = tau dw/dx, up to
terms of e^2 (derived: insert into v dv/dx = a(x, v)).
"""

from dataclasses import dataclass
from functools import cache

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.span import Field

SHARES = (1e-9, 1e-8, 1e-7, 1e-6, 1e-5, 1e-4, 1e-3, 0.01, 0.1, 0.5, 1.0)
"""Parts of the remaining way that are tried; small ones help towards a point of no drive."""

SLOW = 3e-5
"""Largest e: its square is the relative error of the speed that is left out."""


@dataclass(frozen=True)
class Glide:
    """Long steps along the terminal speed: which trials take one, its length, end speed and time (n,)."""

    ready: Flags
    distance: Array
    v: Array
    dt: Array


def settle(field: Field, u: Array, v: Array, left: Array) -> Glide:
    """Glide over as large a share of what is ``left`` (n,) of the span as the part has settled for.

    What the present speed is off by dies out over a way of v tau; its effect on the time is kept
    below 1e-12 of the time.
    """
    glide = Glide(np.zeros(u.shape, bool), left.copy(), v.copy(), np.zeros_like(v))
    with np.errstate(all="ignore"):  # speeds that are no solution become NaN and fail the conditions
        start, way, calm = _terminal(field, u, v)
        off = np.abs(v / start - 1)
        for share in SHARES:
            distance = share * left
            if not np.any(calm & (50 * way < distance)):
                continue
            end, end_way, end_calm = _terminal(field, u + distance, start)
            ready = calm & end_calm & (off < SLOW) & (off * way < 1e-12 * distance)
            ready &= 50 * np.maximum(way, end_way) < distance
            if ready.any():
                dt = np.zeros_like(v)
                for node, weight in zip(*_quadrature(), strict=True):
                    dt += 0.5 * weight * distance / _terminal(field, u + distance * (node + 1) / 2, start)[0]
                for kept, new in ((glide.distance, distance), (glide.v, end), (glide.dt, dt)):
                    np.copyto(kept, new, where=ready)
                glide.ready[ready] = True
    return glide


def _terminal(field: Field, u: Array, guess: Array) -> tuple[Array, Array, Flags]:
    """Speed w (1 - e), way w tau, and whether both are trustworthy and slow, at positions u (n,)."""
    w = guess
    for _ in range(12):
        tau = _relaxation(field, u, w)
        change = field.acceleration(u, w) * tau
        w = np.clip(w + change, w / 4, w * 4)
    reach = 1e-3 * w * tau
    steepness = (field.acceleration(u + reach, w) - field.acceleration(u - reach, w)) / (2 * reach)
    lag = tau * tau * steepness  # dw/dx = tau da/dx
    calm = (tau > 0) & (np.abs(lag) < SLOW) & (np.abs(change) < 1e-10 * w)
    return w * (1 - lag), w * tau, calm


@cache
def _quadrature() -> tuple[Array, Array]:
    """Gauss-Legendre nodes and weights on [-1, 1]; numpy.polynomial is loaded only if it is needed."""
    from numpy.polynomial.legendre import leggauss

    return leggauss(16)


def _relaxation(field: Field, u: Array, v: Array) -> Array:
    nudge = 1e-5 * v
    return 2 * nudge / (field.acceleration(u, v - nudge) - field.acceleration(u, v + nudge))
