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


def brake_reference(part, path, brake, positions, digits=20):
    """Crossing times and speeds of one trial (floats) from rest, by Taylor series to ``digits`` digits.

    Constant acceleration up to the brake, then dt/dx = 1/v, dv/dx = a/v from kink to kink.
    """
    with mp.workdps(digits + 5):
        m, L = mp.mpf(part.mass), mp.mpf(part.length)
        theta = mp.mpf(path.slope)
        g = mp.mpf(path.gravity) * (mp.sin(theta) - mp.mpf(path.friction) * mp.cos(theta))
        z0, vc, peak = mp.mpf(brake.start), mp.mpf(brake.critical_speed), mp.mpf(brake.peak_force)
        z1 = z0 + mp.mpf(brake.length)

        def rate(x, y):
            v = y[1]
            cover = max(min(x, z1) - max(x - L, z0), mp.mpf(0)) / (z1 - z0)
            return [1 / v, (g - cover * peak / m * 2 * (v / vc) / (1 + (v / vc) ** 2)) / v]

        start = min(z0, mp.mpf(float(min(positions))))
        state = [mp.sqrt(2 * start / g), mp.sqrt(2 * start * g)]
        found, x = {}, start
        for stop in sorted({*map(float, positions), z0, z1, z0 + L, z1 + L}):
            if stop > x:
                solution = mp.odefun(rate, x, state, tol=mp.mpf(10) ** -digits)
                state, x = solution(mp.mpf(stop)), mp.mpf(stop)
            found[float(stop)] = state
        return np.array([[float(value) for value in found[float(p)]] for p in positions]).T
