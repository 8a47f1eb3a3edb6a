"""One implicit step over a given distance, for many trials at once: a long way, with no limit from stability.

Radau IIA collocation (E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, IV.5 and IV.8): the
speed is a polynomial of the stretched position s of `gatesim.motion.integrate.step` that satisfies
dv/ds = g(s, v) at the nodes, of which the last is the end of the step. With twelve nodes a piece of the
profile of magnets is one step, as a rule.

The equation is scalar and the derivative of g known, so Newton's method asks for the change d with
d' = g_v d + r, r what is missing at the nodes. With lambda the mean of g_v and D the integral of
g_v - lambda it is d = e^D z, and z' = lambda z + e^-D r has constant coefficients: its matrix is diagonal in
a basis that is the same for all trials. As e^D is no polynomial this is not quite Newton's step; what it
leaves is taken by the next one. From rest g_v is about -1/s, so there the same is done for v d, whose
g_v + v'/v is smooth; and there only an end speed by the acceleration at the start makes v smooth in s.

The error is estimated by the step of next higher order: with the start as one more node the polynomial
changes by a multiple of s (s - c_1) ... (s - c_k), known from what is missing in the equation at the start.
One more Newton step from there tells what it means for speed and time.
"""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.rule import differentiation, quadrature, radau_nodes
from gatesim.motion.integrate.span import Dynamics, Field
from gatesim.motion.integrate.step import end_speed, step
from gatesim.motion.integrate.sums import weighted

COUNT, HALF = 12, 6

NODES = radau_nodes(COUNT)

BLOCK = 1024
"""Trials whose nodes fit into the second-level cache together."""

MOST = 8

ANEW = 2
"""Newton steps that find out anew how g depends on the speed; the others know it well enough."""

CLOSE = 1e-11
"""What a Newton step leaves of the speed, at most, for it to be the last."""

FLOOR = 1e-5
"""Share of the missing slope that the estimate does not go below: it may vanish by accident."""

SAFETY = 10.0
"""What the estimate is multiplied by: where the motion is very stiff it is ten times too small, and the
explicit step, which shares the tolerance, overestimates its own by as much."""

ALL_SLOPES = differentiation(np.concatenate([[0.0], NODES]))
SLOPES, FIRST_SLOPE = ALL_SLOPES[1:, 1:].copy(), ALL_SLOPES[0, 1:].copy()
INTEGRALS = np.asarray(np.linalg.inv(SLOPES), float)
WEIGHTS = INTEGRALS[-1].copy()
HIGHER_WEIGHTS = quadrature(np.concatenate([[0.0], NODES]))
"""Quadrature with the start as one more node."""
BUBBLE = (NODES * (NODES[:, None] - NODES + np.eye(COUNT)).prod(axis=1)) / np.prod(-NODES)
"""Slope at the nodes of the polynomial that vanishes there and at 0, where its slope is 1."""
AT = NODES[:, None]


def _modes() -> tuple[Array, Array, Array, Array]:
    """Basis (k, k) in which the matrix of slopes turns and stretches k/2 planes, its inverse, and by what."""
    values, vectors = np.linalg.eig(SLOPES)
    upper = np.flatnonzero(values.imag > 0)
    basis = np.asarray(np.hstack([vectors[:, upper].real, vectors[:, upper].imag]), float)
    return basis, np.linalg.inv(basis), values.real[upper, None], values.imag[upper, None]


BASIS, TO_BASIS, STRETCH, TURN = _modes()


def move(
    dynamics: Dynamics, implicit: Flags, u: Array, v: Array, a: Array, distance: Array
) -> tuple[Array, Array, Array]:
    """An ``implicit`` step (n,), an explicit one elsewhere; see `implicit_step`."""
    if not implicit.any():
        return step(dynamics, u, v, a, distance)
    if implicit.all():
        return implicit_step(dynamics, u, v, a, distance)
    out = np.empty((3, v.size))
    for kind, rows in ((implicit_step, implicit), (step, ~implicit)):
        out[:, rows] = kind(dynamics.take(rows), u[rows], v[rows], a[rows], distance[rows])
    return out[0], out[1], out[2]


def implicit_step(
    dynamics: Dynamics, u: Array, v: Array, a: Array, distance: Array
) -> tuple[Array, Array, Array]:
    """Advance speeds v (n,) from position u (n,) over ``distance`` (n,); a is acceleration(u, v).

    Returns end speed, elapsed time, and error estimate relative to both (each (n,)); the error is
    NaN or huge where the step was too long to make sense.
    """
    if v.size <= BLOCK:
        return _step(dynamics, u, v, a, distance)
    out = np.empty((3, v.size))
    for first in range(0, v.size, BLOCK):
        some = slice(first, first + BLOCK)
        out[:, some] = _step(dynamics.take(some), u[some], v[some], a[some], distance[some])
    return out[0], out[1], out[2]


@dataclass(frozen=True)
class Newton:
    """The equation for a change of the speeds at the nodes.

    growth: e^D at the nodes (k, n), over ``scale`` if there is one. along, across: (k/2, n) what the inverse
    of the matrix of slopes less the mean of g_v does in each plane of `BASIS`.
    """

    growth: Array
    along: Array
    across: Array

    @classmethod
    def at(cls, slope: Array, scale: Array | None = None) -> "Newton":
        """From the derivative of g at the nodes (k, n), which is overwritten.

        scale: (k, n) what the change is to be multiplied by, with its own growth in the derivative.
        """
        growth = weighted(INTEGRALS, slope)
        mean = growth[-1].copy()
        growth -= np.multiply(AT, mean, out=slope)
        along = STRETCH - mean
        square = along * along
        square += TURN * TURN
        along /= square
        np.exp(growth, out=growth)
        if scale is not None:
            growth /= scale
        return cls(growth, along, np.divide(TURN, square, out=square))

    def change(self, missing: Array) -> Array:
        """Change of the speeds (k, n) by what is missing at the nodes (k, n), which is overwritten."""
        missing /= self.growth
        parts = weighted(TO_BASIS, missing)
        cosine, sine = parts[:HALF], parts[HALF:]
        np.multiply(self.along, cosine, out=missing[:HALF])
        np.multiply(self.along, sine, out=missing[HALF:])
        missing[:HALF] -= self.across * sine
        missing[HALF:] += self.across * cosine
        change = weighted(BASIS, missing)
        change *= self.growth
        return change


def _step(dynamics: Dynamics, u: Array, v: Array, a: Array, distance: Array) -> tuple[Array, Array, Array]:
    straight = end_speed(v, a, distance)
    guess, there = end_guess(dynamics, u, v, straight, distance)
    slow = v * v < a * distance  # as if from rest
    per_speed = 2 * distance / (v + np.where(slow, straight, guess))
    base = per_speed * v
    rise = AT * (distance - base)
    where = base + rise
    where *= AT
    where += u
    rise *= 2
    rise += base  # the slope of the position
    gain = _start(v, guess, per_speed * a, rise[-1] * there / guess)
    newton, found = _solve(dynamics.at(where), rise, v, gain, slow)
    speed = v + gain
    elapsed = weighted(WEIGHTS, rise / speed)
    missing = per_speed * a - weighted(FIRST_SLOPE, gain)
    change = newton.change(BUBBLE[:, None] * missing)
    end = speed[-1]
    longer = HIGHER_WEIGHTS[0] * per_speed + weighted(HIGHER_WEIGHTS[1:], rise / (speed - change))
    error = np.maximum(np.abs(change[-1]) / end, np.abs(longer / elapsed - 1))
    error = SAFETY * np.maximum(error, FLOOR * np.abs(missing) / end)
    return end, elapsed, np.where(found, error, np.inf)


def end_guess(
    dynamics: Dynamics, u: Array, v: Array, w: Array, distance: Array, rounds: int = 2
) -> tuple[Array, Array]:
    """Speed at the end of the step, if its acceleration there acted all along, from a first guess w (n,).

    Also that acceleration.
    """
    end = u + distance
    field = dynamics.at(end)
    for _ in range(rounds):
        there, slope = field.rates(w)
        value = w * w - v * v - 2 * distance * there
        found = w - value / (2 * (w - distance * slope))
        w = np.minimum(np.maximum(found, 0.25 * w), 4 * w)
    return w, there


def _start(v: Array, end: Array, first: Array, last: Array) -> Array:
    """Speeds above v at the nodes (k, n) of the cubic from v to ``end`` with these slopes; not too low."""
    bend = end - v - first
    twist = last - first - 2 * bend
    gain = AT * twist
    gain += bend - twist
    gain *= AT
    gain += first
    gain *= AT
    return np.maximum(gain, -0.9 * v, out=gain)


def _solve(field: Field, rate: Array, v: Array, gain: Array, slow: Flags) -> tuple[Newton, Flags]:
    """Bring ``gain``, the speeds above v at the nodes (k, n), to the solution; who got there (n,)."""
    near = slow.any()
    active, before = np.ones(v.shape), np.ones(v.shape)
    for attempt in range(MOST):
        speed = v + gain
        if attempt < ANEW:
            missing, slope = field.rates(speed)
            per_node = rate / speed
            missing *= per_node  # g, and its derivative
            slope *= per_node
            slope -= np.divide(missing, speed, out=per_node)
            if near:
                slope += np.where(slow, weighted(SLOPES, gain) / speed, 0.0)
                newton = Newton.at(slope, np.where(slow, speed, 1.0))
            else:
                newton = Newton.at(slope)
        else:
            missing = field.acceleration(speed)
            missing *= rate
            missing /= speed
        missing -= weighted(SLOPES, gain)
        change = newton.change(missing)
        if not active.all():
            change *= active  # those who are there keep their speeds
        gain += change
        size = np.abs(change, out=change).max(axis=0) / (v + gain[-1])
        active = np.where(size * np.minimum(size / before, 1.0) <= CLOSE, 0.0, active)
        if not active.any():
            break
        before = size
    return newton, active == 0
