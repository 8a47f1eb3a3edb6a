"""One implicit step over a given distance, for many trials at once: no limit from stability.

Radau IIA collocation (E. Hairer, G. Wanner, Solving Ordinary Differential Equations II, IV.5 and IV.8;
nodes from memory, held against their definition in a test): the speed is a polynomial of the stretched
position s of `gatesim.motion.integrate.step` that satisfies dv/ds = g(s, v) at the nodes, of which the last
is the end of the step. The equation is scalar and the derivative of g known, so Newton's method takes one
small linear system a trial, the constant matrix of differentiation with another diagonal, which is
eliminated for all trials at once.

The error is estimated by the step of next higher order: with the start as one more node the polynomial
changes by a multiple of s (s - c_1) ... (s - c_k), known from what is missing in the equation at the start.
One more Newton step from there, with the same matrix, tells what it means for speed and time.
"""

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.integrate.span import Dynamics
from gatesim.motion.integrate.step import end_speed, step
from gatesim.motion.integrate.sums import weighted

NODES = np.array(
    [
        0.039809857051468742,
        0.19801341787360817,
        0.43797481024738614,
        0.69546427335363609,
        0.90146491420117357,
        1.0,
    ]
)
"""Roots of P_5 - P_6 on [0, 1], P the Legendre polynomials."""

COUNT = len(NODES)

BLOCK = 512
"""Trials whose matrices fit into the second-level cache together."""

MOST = 8

CLOSE = 1e-6
"""A Newton step this small relative to the speed was the last: what is left is its square."""

FLOOR = 1e-5
"""Share of the missing slope that the estimate does not go below: it may vanish by accident."""

SAFETY = 10.0
"""What the estimate is multiplied by: where the motion is very stiff it is ten times too small, and the
explicit step, which shares the tolerance, overestimates its own by as much."""

FIRST = 2.5
"""Relaxation lengths of a first implicit step that is accurate as a rule (measured)."""

STIFF, CHANGING = 10.0, 50.0
"""Relaxation lengths on a span from which on implicit steps are the cheaper ones, and as many more for a
change of the speed by a factor of e. One costs as much as six explicit ones, which are about a relaxation
length long; of them it takes a few, and more where the speed changes much (measured)."""


def differentiation(points: Array) -> Array:
    """Matrix (k, k) from values at points (k,) to slopes there (barycentric formula)."""
    gaps = points[:, None] - points + np.eye(len(points))
    weights = 1 / gaps.prod(axis=1)
    matrix: Array = weights / weights[:, None] / gaps
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return matrix


ALL_SLOPES = differentiation(np.concatenate([[0.0], NODES]))
SLOPES, FIRST_SLOPE = ALL_SLOPES[1:, 1:].copy(), ALL_SLOPES[0, 1:].copy()
WEIGHTS = np.asarray(np.linalg.inv(SLOPES)[-1], float)
POWERS = np.concatenate([[0.0], NODES]) ** np.arange(COUNT + 1)[:, None]
HIGHER_WEIGHTS = np.asarray(np.linalg.solve(POWERS, 1 / np.arange(1, COUNT + 2)), float)
"""Quadrature with the start as one more node."""
BUBBLE = (NODES * (NODES[:, None] - NODES + np.eye(COUNT)).prod(axis=1)) / np.prod(-NODES)
"""Slope at the nodes of the polynomial that vanishes there and at 0, where its slope is 1."""


def move(
    dynamics: Dynamics, stiff: Flags, u: Array, v: Array, a: Array, distance: Array
) -> tuple[Array, Array, Array]:
    """An implicit step where the motion is ``stiff`` (n,), an explicit one elsewhere; see `implicit_step`."""
    if not stiff.any():
        return step(dynamics, u, v, a, distance)
    if stiff.all():
        return implicit_step(dynamics, u, v, a, distance)
    out = np.empty((3, v.size))
    for kind, rows in ((implicit_step, stiff), (step, ~stiff)):
        out[:, rows] = kind(dynamics.take(rows), u[rows], v[rows], a[rows], distance[rows])
    return out[0], out[1], out[2]


def implicit_step(
    dynamics: Dynamics, u: Array, v: Array, a: Array, distance: Array
) -> tuple[Array, Array, Array]:
    """Advance speeds v (n,) from position u (n,) over ``distance`` (n,); a is acceleration(u, v).

    Returns end speed, elapsed time, and error estimate relative to both (each (n,)); the error is
    NaN or huge where the step was too long to make sense.
    """
    out = np.empty((3, v.size))
    for first in range(0, v.size, BLOCK):
        some = slice(first, first + BLOCK)
        out[:, some] = _step(dynamics.take(some), u[some], v[some], a[some], distance[some])
    return out[0], out[1], out[2]


def stiff(dynamics: Dynamics, size: Array, v: Array) -> tuple[Flags, Array, Array]:
    """Trials (n,) that relax to their terminal speed many times over on a span of ``size`` (n,).

    Also how often they do about (n,), and the distance (n,) for a first step: a kink of the strength shifts
    the terminal speed.
    """
    if not dynamics.terms:
        return np.zeros(v.shape, bool), np.zeros(v.shape), np.full(v.shape, np.inf)
    a, slope = dynamics.rates(None, v)
    with np.errstate(all="ignore"):  # at rest, or stopping on the way
        end = _end_guess(dynamics, np.zeros_like(size), v, a, size, 6)
        there = dynamics.rates(size, end)[1]
        here = -slope / v
        lengths = size * np.maximum(here, -there / end)
        first = np.where(here > 0, FIRST / here, np.inf)
        many: Flags = lengths > STIFF + CHANGING * np.abs(np.log(end / v))
    return many, lengths, first


def _step(dynamics: Dynamics, u: Array, v: Array, a: Array, distance: Array) -> tuple[Array, Array, Array]:
    guess = _end_guess(dynamics, u, v, a, distance)
    per_speed = 2 * distance / (v + guess)
    base = per_speed * v
    rise = NODES[:, None] * (distance - base)
    where = base + rise
    where *= NODES[:, None]
    where += u
    rise *= 2
    rise += base  # the slope of the position
    gain, matrix, found = _solve(dynamics, where, rise, v, NODES[:, None] * (guess - v))
    speed = v + gain
    elapsed = weighted(WEIGHTS, rise / speed)
    missing = per_speed * a - weighted(FIRST_SLOPE, gain)
    change = _substitute(matrix, BUBBLE[:, None] * missing)
    end = speed[-1]
    longer = HIGHER_WEIGHTS[0] * per_speed + weighted(HIGHER_WEIGHTS[1:], rise / (speed - change))
    error = np.maximum(np.abs(change[-1]) / end, np.abs(longer / elapsed - 1))
    error = SAFETY * np.maximum(error, FLOOR * np.abs(missing) / end)
    return end, elapsed, np.where(found, error, np.inf)


def _end_guess(dynamics: Dynamics, u: Array, v: Array, a: Array, distance: Array, rounds: int = 2) -> Array:
    """Speed at the end of the step, if its acceleration there acted all along."""
    end, w = u + distance, end_speed(v, a, distance)
    field = dynamics.at(end)
    for _ in range(rounds):
        there, slope = field.rates(w)
        value = w * w - v * v - 2 * distance * there
        w = np.clip(w - value / (2 * w - 2 * distance * slope), 0.25 * w, 4 * w)
    return w


def _solve(
    dynamics: Dynamics, where: Array, rate: Array, v: Array, gain: Array
) -> tuple[Array, Array, Flags]:
    """Speeds above v at the nodes (k, n), the eliminated matrix (k, k, n), and who got there."""
    active = np.ones(v.shape)
    kept = matrix = np.empty((COUNT, COUNT, v.size))
    field = dynamics.at(where)
    for attempt in range(MOST):
        speed = v + gain
        acceleration, slope = field.rates(speed)
        per_node = rate / speed
        acceleration *= per_node  # g, and its derivative
        slope *= per_node
        slope -= acceleration / speed
        if attempt and not active.all():  # those who are there keep what belongs to their speeds
            kept, matrix = matrix, np.empty_like(matrix)
        matrix[:] = SLOPES[:, :, None]
        matrix[range(COUNT), range(COUNT)] -= slope
        _eliminate(matrix)
        step = _substitute(matrix, np.subtract(weighted(SLOPES, gain), acceleration, out=acceleration))
        if kept is not matrix:
            step *= active
            np.copyto(matrix, kept, where=active == 0)
        gain -= step
        largest = np.abs(step).max(axis=0)
        active = np.where(largest > CLOSE * (v + gain[-1]), active, 0.0)
        if not active.any():
            break
    return gain, matrix, active == 0


def _eliminate(matrix: Array) -> None:
    """Gauss, without a choice of pivots: damping only adds to the diagonal; factors stay below it."""
    for k in range(COUNT - 1):
        matrix[k + 1 :, k] /= matrix[k, k]
        matrix[k + 1 :, k + 1 :] -= matrix[k + 1 :, k, None] * matrix[k, k + 1 :]


def _substitute(matrix: Array, right: Array) -> Array:
    """Solution (k, n) for a right-hand side (k, n), which is overwritten."""
    for k in range(COUNT - 1):
        right[k + 1 :] -= matrix[k + 1 :, k] * right[k]
    for k in range(COUNT - 1, -1, -1):
        right[k] /= matrix[k, k]
        right[:k] -= matrix[:k, k] * right[k]
    return right
