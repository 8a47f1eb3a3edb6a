"""Processor time a trial on brakes from weak to very strong, beside plain solve_ivp calls; run by hand.

    python -m tests.benchmarks.strong_brakes

Invented: a 260 mm profile of 105 g on a slope of 30 degrees, 200 mm of magnets from 300 mm on, four
positions asked for behind them. What the brake's strength does to the steps taken is seen here; the loop
is what a user would write, with bounded steps, or it would jump over the brake; the ratio is to the faster
method. Medians of five runs, in one process.
"""

import time
from functools import partial

import numpy as np
from scipy.integrate import solve_ivp

from gatesim.motion import EddyBrake, Path, passage
from gatesim.motion.force.magnetbrake import MagnetBrake
from gatesim.motion.magnets.brake import block_curve, block_profile, block_strength
from gatesim.motion.magnets.shapes import Bar, Blocks
from tests.motion_rigs import Block

TRIALS, LOOPED = 4096, 3
POSITIONS = np.array([0.8, 0.9, 1.06, 1.16])


def processor_time(task, repeats=5):
    taken = []
    for _ in range(repeats):
        begin = time.process_time()
        task()
        taken.append(time.process_time() - begin)
    return float(np.median(taken))


def linear_cover(x):
    return max(min(x, 0.5) - max(x - 0.26, 0.3), 0.0) / 0.2


def magnets(factor):
    """A brake of five magnets over a 2 mm plate, its force times ``factor`` (n,), and its cover."""
    blocks, bar = Blocks(0.04, 0.04, 0.02, 0.004, count=5, pitch=0.04), Bar(np.inf, 0.002)
    strength, profile = block_strength(blocks, bar), block_profile(blocks, bar, 0.26)
    brake = MagnetBrake.scaled(
        (0.3, 0.2), strength, strength, (1.69 * factor, 3e7),
        curve=block_curve(blocks, bar, 10 * 3e7), profile=profile, uncertainty=0.0,
    )  # fmt: skip
    at = np.linspace(0.2, 0.9, 4001)
    cover = brake.cover(at, Block(0.26, 0.105))
    return brake, lambda x: np.interp(x, at, cover)


def loop(peaks, method, critical=26.5, covered=linear_cover):
    for peak in peaks:
        drive = 9.80665 * (np.sin(np.pi / 6) - 0.22 * np.cos(np.pi / 6))

        def motion(t, y, peak=peak, drive=drive):
            ratio = y[1] / critical
            return y[1], drive - peak * covered(y[0]) / 0.105 * 2 * ratio / (1 + ratio**2)

        events = [lambda t, y, at=at: y[0] - at for at in POSITIONS]
        events[-1].terminal = True
        solve_ivp(motion, (0.0, 1e3), (0.0, 0.0), method, rtol=1e-9, atol=1e-12, max_step=0.05, events=events)


def main() -> None:
    rng = np.random.default_rng(1)
    part, path = Block(0.26, 0.105), Path(np.pi / 6, 0.22)
    print(f"{'peak force / N':>15}{'batch / us':>12}{'RK45 / us':>12}{'Radau / us':>12}{'ratio':>8}")
    rows = []
    for peak in (5.0, 20.0, 85.0, 350.0, 1400.0):
        rows.append((EddyBrake(0.3, 0.2, peak * rng.normal(1, 0.05, TRIALS), 26.5), linear_cover))
    for brake, covered in (*rows, magnets(rng.normal(1, 0.05, TRIALS))):
        peaks, critical = brake.peak_force, brake.critical_speed
        peak = float(np.mean(peaks))
        batch = processor_time(partial(passage, part, path, (brake,), POSITIONS)) / TRIALS
        loops = [
            processor_time(partial(loop, peaks[:LOOPED], method, critical, covered), 1) / LOOPED
            for method in ("RK45", "Radau")
        ]
        slow, stiff = (1e6 * seconds for seconds in loops)
        print(f"{peak:15.0f}{batch * 1e6:12.1f}{slow:12.0f}{stiff:12.0f}{min(loops) / batch:8.0f}")


if __name__ == "__main__":
    main()
