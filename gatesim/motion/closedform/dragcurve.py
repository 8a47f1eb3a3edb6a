"""The full drag curve of an eddy-current brake beside a constant drive: dv/dt = a - k v/(v_c^2 + v^2).

In u = v/v_c and beta = k/(v_c a): dv/dt = a Q/(1 + u^2), Q = u^2 - beta u + 1. Both

    a t/v_c   = integral of (1 + u^2)/Q du
    a x/v_c^2 = integral of u (1 + u^2)/Q du

are elementary (partial fractions). For beta > 2 there are two speeds without acceleration, r < 1 < 1/r;
the part tends to r, but above 1/r it runs away.
"""

import numpy as np

from gatesim.ground.arrays import Array, Flags
from gatesim.motion.closedform.arc import arc
from gatesim.motion.roots import solve

LOST = 2000
"""How much rounding may grow: to half of the 1e-12 that the motion is good to elsewhere."""

APART = 1e-3
"""Least r+ - r at which the two speeds without acceleration are told apart."""


def drag_curve(drive: Array, strength: Array, size: Array, v: Array, critical: Array) -> tuple[Array, Array]:
    """Speed and time after ``size``; see the package. strength = -k in m/s^2 * m/s, critical = v_c in m/s."""
    end, time = np.full_like(v, np.nan), np.full_like(v, np.nan)
    with np.errstate(all="ignore"):  # what comes to rest on the way has no solution
        u, beta, way = v / critical, -strength / (critical * drive), drive * size / critical**2
        spread = np.sqrt((beta - 2) * (beta + 2))
        settling = (drive > 0) & (spread > APART) & (u < (beta + spread) / 2)
        passing = ~settling & (drive != 0) & (strength < 0) & ~((beta >= 2) & (u <= (beta + spread) / 2))
        for rows, method in ((settling, _settling), (passing, _passing)):
            if rows.any():
                some = np.flatnonzero(rows)
                end[some], time[some] = method(u[some], beta[some], way[some])
        end *= critical
        time *= critical / drive
        sound: Flags = (end > 0) & (time > 0)
    return np.where(sound, end, np.nan), np.where(sound, time, np.nan)


def _settling(u: Array, beta: Array, way: Array) -> tuple[Array, Array]:
    """Towards the terminal speed r, in y = ln((u - r)/(u0 - r)), in which x is nearly linear.

    With D = 1/r - r, w = (u - u0)/(u0 - 1/r), l = ln(1 + w) and U = u - u0

        a t/v_c   = U - beta/D (r y - l/r)
        a x/v_c^2 = (u + u0) U/2 + beta [U (1 + D u0)/(D (u0 - 1/r)) - (r^2 y - (l - w)/r^2)/D]
        a/v_c^2 dx/dy = u (1 + u^2)/(u - 1/r), which is monotonic.
    """
    spread = np.sqrt((beta - 2) * (beta + 2))
    low, high = 2 / (beta + spread), (beta + spread) / 2
    off, down = u - low, u - high
    y_slope, w_slope = beta * low * low / spread, beta * high * high / spread
    linear = beta * (1 + spread * u) / (spread * down) + u

    def parts(y: Array) -> tuple[Array, Array, Array, Array]:
        step = off * np.expm1(y)
        w = step / down
        log = np.log1p(w)
        return step, log, step * (linear + 0.5 * step), w_slope * _log_rest(w, log) - y_slope * y

    def miss(y: Array) -> tuple[Array, Array, Array]:
        step, _, first, second = parts(y)
        now = u + step
        behind, square = 1 / (now - high), now * now
        slope = now * (1 + square) * behind
        curvature = (off + step) * (1 + 3 * square - slope) * behind
        return first + second - way, slope, curvature

    y, solved = solve(miss, _settling_start(u, way, off, down))
    step, log, first, second = parts(y)
    end = u + step
    worst = np.maximum(np.abs(first), np.abs(second))
    steep = np.abs((off + step) * (end - high)) / (end * end * (1 + end * end))  # d(ln u)/dx
    solved &= worst * np.maximum(1 / way, steep) < LOST
    time = step - beta / spread * (low * y - high * log)
    # where the start is the terminal speed to rounding, the speed is constant
    still = np.abs(off) <= 4e-16 * low
    end, time = np.where(still, u, end), np.where(still, way / u, time)
    return np.where(solved | still, end, np.nan), time


def _settling_start(u: Array, way: Array, off: Array, down: Array) -> Array:
    """A first y: half of the way with the slope at the start, the whole with that of the middle.

    From rest, where that slope is 0: what the present acceleration, kept up, would make of it.
    """
    square = 1 + u * u
    y = way * down / (u * square)
    half = u + off * np.expm1(0.5 * y)
    y = way * (half - (u - down)) / (half * (1 + half * half))
    kept = np.log1p((np.sqrt(u * u + 2 * way * off * down / square) - u) / off)
    final = -way * (u - down) ** 2
    return np.where(off > 0, y, np.where(np.isfinite(kept), kept, final))


def _log_rest(w: Array, log: Array) -> Array:
    """ln(1 + w) - w without loss of digits for small w, given ln(1 + w)."""
    near = np.full_like(w, -1 / 12)
    for n in range(11, 1, -1):  # -w^2/2 + w^3/3 - ...
        near *= w
        near += (-1 if n % 2 == 0 else 1) / n
    near *= w
    near *= w
    rest: Array = np.where(np.abs(w) < 0.02, near, log - w)
    return rest


def _passing(u: Array, beta: Array, way: Array) -> tuple[Array, Array]:
    """No terminal speed ahead: faster and faster, or slower and slower; solved for u^2/2.

    With l = 1/2 ln(Q/Q0) and J = integral of du/Q = arctan(s U/P)/(s/2), s^2 = 4 - beta^2,
    P = 2 + 2 u u0 - beta (u + u0), which turns into an inverse hyperbolic tangent for |beta| > 2

        a t/v_c   = U + beta (l + beta/2 J)
        a x/v_c^2 = (u + u0) U/2 + beta U + beta (beta l + (beta^2/2 - 1) J).
    """
    square, quad = 4 - beta * beta, 1 + u * (u - beta)

    def parts(energy: Array) -> tuple[Array, Array, Array, Array, Array]:
        now = np.sqrt(2 * energy)
        step = now - u
        log = 0.5 * np.log1p(step * (now + u - beta) / quad)
        p = 2 + 2 * now * u - beta * (now + u)
        ratio = step / p
        z = square * ratio * ratio
        integral = 2 * ratio * arc(z)
        # beyond a right angle the arctangent goes on growing
        integral = np.where((p < 0) & (square > 0), integral + np.pi * 2 / np.sqrt(square), integral)
        return now, step, log, integral, beta * (beta * log + (0.5 * beta * beta - 1) * integral)

    def miss(energy: Array) -> tuple[Array, Array, Array]:
        now, step, _, _, rest = parts(energy)
        slope = (1 + now * now) / (1 + now * (now - beta))
        curvature = (2 - slope * (2 - beta / now)) * slope / (1 + now * now)
        return step * (0.5 * (now + u) + beta) + rest - way, slope, curvature

    start = 0.5 * u * u
    middle = np.sqrt(np.maximum(u * u + way * quad / (1 + u * u), 0.25 * u * u))
    energy = start + way * (1 + middle * (middle - beta)) / (1 + middle * middle)
    bracket = np.where(way > 0, start, 0.0), start + way  # the drag only takes
    energy, solved = solve(miss, np.clip(energy, *bracket), bracket)
    now, step, log, integral, _ = parts(energy)
    worst = np.abs(beta) * np.maximum(np.abs(beta * log), np.abs((0.5 * beta * beta - 1) * integral))
    worst = np.maximum(worst, np.abs(beta * step))
    steep = np.abs((1 + now * (now - beta)) / (1 + now * now)) / energy
    solved &= worst * np.maximum(1 / np.abs(way), steep) < LOST
    time = step + beta * (log + 0.5 * beta * integral)
    return np.where(solved, now, np.nan), time
