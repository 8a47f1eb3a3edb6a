"""The batch engine beside a loop of solve_ivp on the full-curve brake, at equal accuracy, on one core.

Run: python -m pytest -n0 -s tests/benchmarks/test_motion_speed.py
Both are held to a 20-digit integration on the first few trials. The loop uses the solver in time
with one event per gate edge, at the loosest tolerance that still meets 1e-9 there.
"""

import time

import numpy as np
from scipy.integrate import solve_ivp

from gatesim.ground.arrays import take
from gatesim.motion import passage
from tests.motion_rigs import brake_chute, brake_reference

TRIALS, LOOPED, HELD = 100_000, 200, 10
EQUAL_ACCURACY = 1e-9


def scalars(item, i):
    return type(item)(**{k: float(v[i]) if isinstance(v, np.ndarray) else v for k, v in vars(item).items()})


def solve_one(part, path, brake, positions, rtol):
    """Crossing times of one trial by scipy's order-8 solver with event search."""
    drive = path.gravity * (np.sin(path.slope) - path.friction * np.cos(path.slope))
    start, end, length = brake.start, brake.start + brake.length, part.length
    scale = 2 * brake.peak_force / (part.mass * brake.critical_speed * brake.length)
    critical = brake.critical_speed

    def rate(t, y):
        x, v = y
        cover = max(min(x, end) - max(x - length, start), 0.0)
        return (v, drive - scale * cover * v / (1 + (v / critical) ** 2))

    events = [lambda t, y, at=at: y[0] - at for at in positions]
    events[-1].terminal = True
    solution = solve_ivp(rate, (0, 10), (0.0, 0.0), "DOP853", events=events, rtol=rtol, atol=rtol * 1e-2)
    return np.array([found[0] for found in solution.t_events])


def least_of(repeats, work):
    """Shortest processor time of several runs, and the last result."""
    durations = []
    for _ in range(repeats):
        begin = time.process_time()
        result = work()
        durations.append(time.process_time() - begin)
    return min(durations), result


def test_trials_per_second_beside_a_solver_loop():
    part, path, brake, positions = brake_chute(TRIALS, gates=3)
    positions = np.sort(positions, axis=1)
    few = [
        tuple(scalars(take(item, slice(0, LOOPED)), i) for item in (part, path, brake)) for i in range(LOOPED)
    ]
    exact = np.stack([brake_reference(*few[i], positions[i])[0] for i in range(HELD)])

    def loop(rtol, count=LOOPED):
        return np.stack([solve_one(*few[i], positions[i], rtol) for i in range(count)])

    for rtol in (1e-6, 1e-7, 1e-8, 1e-9, 1e-10, 1e-11, 1e-12, 1e-13):
        loop_error = np.abs(loop(rtol, HELD) / exact - 1).max()
        if loop_error <= EQUAL_ACCURACY:
            break
    loop_time, looped = least_of(2, lambda: loop(rtol))
    batch_time, batch = least_of(3, lambda: passage(part, path, (brake,), positions))
    batch_error = np.abs(batch.time[:HELD] / exact - 1).max()
    rates = TRIALS / batch_time, LOOPED / loop_time
    print(f"\nbatch: {rates[0]:,.0f} trials/s, error {batch_error:.1e}")
    print(f"loop (rtol {rtol:g}): {rates[1]:,.0f} trials/s, error {loop_error:.1e}")
    apart = np.abs(batch.time[:LOOPED] / looped - 1).max()
    print(f"ratio {rates[0] / rates[1]:,.0f}; greatest difference on {LOOPED} trials {apart:.1e}")
    assert batch_error <= EQUAL_ACCURACY
    assert loop_error <= EQUAL_ACCURACY
