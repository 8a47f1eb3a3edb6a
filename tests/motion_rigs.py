"""What several tests of motion share: a bare part, and a brake chute with its 20-digit reference."""

from dataclasses import dataclass

import numpy as np
from mpmath import mp

from gatesim.motion import EddyBrake, Path


@dataclass(frozen=True)
class Block:
    length: float | np.ndarray = 0.17
    mass: float | np.ndarray = 0.08
    inertia_factor: float | np.ndarray = 0.0


def brake_chute(trials, seed=1, gates=2):
    """Invented chute: 0.4 m of full-curve brake from 0.25 m on, gates from 0.7 m on; seven values spread."""
    draw = np.random.default_rng(seed).standard_normal((7, trials))

    def spread(mean, relative, row):
        return mean * (1 + relative * draw[row])

    part = Block(length=spread(0.17, 0.002, 0))
    path = Path(slope=np.deg2rad(35 + 0.3 * draw[1]), friction=spread(0.25, 0.1, 2))
    brake = EddyBrake(0.25, 0.4, spread(0.9, 0.05, 3), spread(2.0, 0.05, 4))
    first, spacing = 0.7 + 0.0005 * draw[5], spread(0.05, 0.002, 6)
    fronts = first[:, None] + spacing[:, None] * np.arange(gates)
    return part, path, brake, np.concatenate([fronts, fronts + part.length[:, None]], axis=1)


TERMS = 30


def _series(time, speed, g, drag, square):
    """Coefficients in h of t and v, where t' = 1/v and v' = g/v - (drag_0 + drag_1 h) / (1 + square v^2)."""
    t, v, slowness, share, below = [time], [speed], [], [], []
    for k in range(TERMS):
        below.append((k == 0) + square * mp.fdot(v, v[::-1]))
        for quotient, by in ((slowness, v), (share, below)):
            quotient.append(((k == 0) - mp.fdot(by[1 : k + 1], quotient[::-1])) / by[0])
        t.append(slowness[k] / (k + 1))
        v.append((g * slowness[k] - drag[0] * share[k] - (drag[1] * share[k - 1] if k else 0)) / (k + 1))
    return t, v


def _reach(series, digits):
    """How far a series holds to so many digits, by its last two terms."""
    small = mp.mpf(10) ** -digits * abs(series[0])
    return min((small / max(abs(series[k]), mp.mpf(10) ** -300)) ** (mp.one / k) for k in (TERMS - 1, TERMS))


def brake_reference(part, path, brake, positions, digits=20):
    """Crossing times and speeds of one trial (floats) from rest, by Taylor series to ``digits`` digits.

    Constant acceleration up to the brake, then dt/dx = 1/v, dv/dx = a/v from kink to kink; the same doubles
    as `mpmath.odefun` has for it, in a tenth of the time.
    """
    with mp.workdps(digits + 5):
        m, L = mp.mpf(part.mass), mp.mpf(part.length)
        theta = mp.mpf(path.slope)
        g = mp.mpf(path.gravity) * (mp.sin(theta) - mp.mpf(path.friction) * mp.cos(theta))
        z0, vc, peak = mp.mpf(brake.start), mp.mpf(brake.critical_speed), mp.mpf(brake.peak_force)
        z1 = z0 + mp.mpf(brake.length)

        # 2 F/m (v/vc) / (1 + (v/vc)^2) / v, of which the multiplications that stay are done once
        drag, square = 2 * peak / (m * vc) / (z1 - z0), 1 / (vc * vc)

        def covered(x):
            return max(min(x, z1) - max(x - L, z0), mp.mpf(0))

        start = min(z0, mp.mpf(float(min(positions))))
        state = [mp.sqrt(2 * start / g), mp.sqrt(2 * start * g)]
        found, x = {}, start
        for stop in sorted({*map(float, positions), z0, z1, z0 + L, z1 + L}):
            end = mp.mpf(stop)
            if end > x:
                grows = (covered(end) - covered(x)) / (end - x)  # evenly, from kink to kink
            while end > x:
                time, speed = _series(*state, g, (drag * covered(x), drag * grows), square)
                step = min(end - x, *(_reach(each, digits + 2) for each in (time, speed)))
                state = [mp.polyval(each[::-1], step) for each in (time, speed)]
                x = end if step == end - x else x + step
            found[float(stop)] = state
        return np.array([[float(value) for value in found[float(p)]] for p in positions]).T
