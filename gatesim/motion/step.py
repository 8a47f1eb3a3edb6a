"""One Runge-Kutta step over a given distance, for many trials at once.

The independent variable is position, stretched so that it runs like time. On a step of size
D from speed v0 let a0 be the acceleration at its start, w an estimate of the speed at its
end, w^2 = v0^2 + 2 a0 D, and beta = 2 v0/(v0 + w). With s from 0 to 1

    x = x0 + D phi(s),  phi(s) = s (beta + (1 - beta) s),
    dt/ds = D phi'(s)/v,  dv/ds = a D phi'(s)/v.

Under constant acceleration v and t are linear in s, so a step of any size is exact, and a
start from rest, singular in x, is regular (dt/ds at s = 0 is 2 D/(v0 + w) for any v0).
"""

from typing import Protocol

import numpy as np

from gatesim.motion.dop853 import ERROR3, ERROR5, NODES, STAGES, WEIGHTS, Row
from gatesim.motion.trials import Array


class Acceleration(Protocol):
    """What the integrator knows of the world."""

    @property
    def sloped(self) -> bool:
        """Whether the acceleration depends on position."""
        ...

    def acceleration(self, u: Array | None, v: Array) -> Array:
        """Acceleration (n,) at position u (n,) and speed v (n,)."""
        ...


def end_speed(v: Array, a: Array, distance: Array) -> Array:
    """Estimate of the speed after ``distance``, kept above v/4 where the part seems to stop."""
    square = v * v
    floor = 0.0625 * square
    square += 2 * distance * a
    return np.sqrt(np.maximum(square, floor))


def step(world: Acceleration, u: Array, v: Array, a: Array, distance: Array) -> tuple[Array, Array, Array]:
    """Advance speeds v (n,) from position u (n,) over ``distance`` (n,); a is acceleration(u, v).

    Returns end speed, elapsed time, and error estimate relative to the end speed (each (n,));
    the error is NaN or huge where the step was too long to make sense.
    Method: Dormand and Prince, order 8(5,3), see dop853.py for the source.
    """
    per_speed = distance / (v + end_speed(v, a, distance))
    per_speed *= 2
    base = per_speed * v  # D beta
    rise = distance - base  # D (1 - beta)
    rate, slope = np.empty((12, v.size)), np.empty((12, v.size))  # dt/ds, dv/ds at the stages
    rate[0] = per_speed
    np.multiply(per_speed, a, out=slope[0])
    work, speed = np.empty_like(v), np.empty_like(v)
    where = None
    for i in range(1, 12):
        _weighted(STAGES[i], slope, speed, work)
        speed += v
        if world.sloped:
            where = rise * NODES[i]
            where += base
            where *= NODES[i]
            where += u
        np.multiply(rise, 2 * NODES[i], out=work)
        work += base
        np.divide(work, speed, out=rate[i])
        np.multiply(rate[i], world.acceleration(where, speed), out=slope[i])
    elapsed = _weighted(WEIGHTS, rate, np.empty_like(v), work)
    end = _weighted(WEIGHTS, slope, np.empty_like(v), work)
    end += v
    return end, elapsed, _error(slope, speed, work) / end


def _weighted(row: Row, values: Array, out: Array, work: Array) -> Array:
    """Sum of coefficient * values[stage] into ``out``.

    Spelt out instead of a matrix product: a BLAS sum may depend on how many trials there are.
    """
    first, *others = row
    np.multiply(values[first[0]], first[1], out=out)
    for stage, coefficient in others:
        np.multiply(values[stage], coefficient, out=work)
        out += work
    return out


def _error(slope: Array, out: Array, work: Array) -> Array:
    """Error of the speed from the embedded orders 5 and 3 (Hairer, Norsett, Wanner, II.10)."""
    fifth = _weighted(ERROR5, slope, out, work)
    fifth *= fifth
    third = _weighted(ERROR3, slope, np.empty_like(out), work)
    third *= third
    third *= 0.01
    third += fifth
    third += 1e-300  # exact steps: 0/0
    return np.divide(fifth, np.sqrt(third, out=third), out=third)
