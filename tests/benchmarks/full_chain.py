"""A million trials of the whole chain beside a loop over scipy's solve_ivp; run by hand.

    python tests/benchmarks/full_chain.py [trials]

The rig is invented: a part braked by magnets (full drag curve), round beam, delays, jitter, chatter,
stable-for filter, 100 kHz clock, two formulas. The loop integrates the same motion one trial at a time
with an event a switching position, and takes the other stages from the same functions. Third, the loop
that a user would write: solve_ivp with events at four positions and the formula's arithmetic, nothing
else; its steps are bounded, or it would jump over the brake's ends. Fourth, the bare drawing
of the random numbers that a trial needs, the bound for anything that draws with NumPy.
"""

import sys
import time
from dataclasses import replace

import numpy as np
from scipy.integrate import solve_ivp

from gatesim.chain import pipeline
from gatesim.ground.draw import Streams
from gatesim.motion import passage
from gatesim.scenario import parse_text
from gatesim.studies.draws import Recorder
from gatesim.studies.engine import study
from gatesim.studies.model import run
from gatesim.studies.plan import BLOCK, Plan
from gatesim.studies.rig import RigModel

RIG = """
title = "invented rung, braked"
[part]
length = { value = "260 mm", distribution = "normal", standard_uncertainty = "0.1 mm" }
mass = "210 g"
height = "20 mm"
[path]
slope = { value = "35 deg", distribution = "normal", standard_uncertainty = "0.2 deg" }
friction = { value = 0.22, distribution = "normal", standard_uncertainty = 0.02 }
[brake]
start = "60 mm"
length = "1100 mm"
peak_force = { value = "4.9 N", distribution = "rectangular", half_width = "0.2 N" }
critical_speed = { value = "2.2 m/s", distribution = "rectangular", half_width = "0.2 m/s" }
[gate]
first = "760 mm"
spacing = { value = "50 mm", distribution = "normal", standard_uncertainty = "0.03 mm" }
[sensor]
beam = { shape = "circular", diameter = "2 mm" }
dark_fraction = "55 %"
light_fraction = "45 %"
dark_delay = { value = "80 us", distribution = "normal", standard_uncertainty = "5 us" }
light_delay = { value = "95 us", distribution = "normal", standard_uncertainty = "5 us" }
jitter = "3 us"
chatter = { mean_pulses = 0.5, mean_spacing = "50 us" }
[filter]
kind = "stable-for"
time = "1 ms"
[counter]
frequency = "100 kHz"
frequency_error = { value = "0 ppm", distribution = "rectangular", half_width = "50 ppm" }
[formula]
use = ["spacing-dwell", "rear-edge"]
"""


def one_by_one(part, path, forces, positions):
    """What `gatesim.motion.passage` does for one trial, by solve_ivp, without air, belt and launch."""
    (brake,) = forces
    length, mass, g, theta, mu, peak, critical, start, stretch = (
        float(np.ravel(q)[0])
        for q in (
            part.length, part.mass, path.gravity, path.slope, path.friction,
            brake.peak_force, brake.critical_speed, brake.start, brake.length,
        )
    )  # fmt: skip
    end = start + stretch
    drive = mass * g * (np.sin(theta) - mu * np.cos(theta))

    def motion(t, y):
        x, v = y
        overlap = min(x, end) - max(x - length, start)
        ratio = v / critical
        drag = peak * max(overlap, 0.0) / stretch * 2.0 * ratio / (1.0 + ratio * ratio)
        return (v, (drive - drag) / mass)

    wanted = np.ravel(positions)
    events = [lambda t, y, at=at: y[0] - at for at in wanted]
    events[int(np.argmax(wanted))].terminal = True
    found = solve_ivp(motion, (0.0, 60.0), (0.0, 0.0), rtol=1e-9, atol=1e-12, events=events)
    nominal = passage(part, path, (), positions)  # for the fields that the later stages do not use
    speed = np.array([[y[0, 1] for y in found.y_events]])
    return replace(nominal, time=np.array([[t[0] for t in found.t_events]]), speed=speed)


def plain_loop(trials):
    """Readings of the first formula as a user would write it: no beam, delays, filter or counter."""
    rng, readings = np.random.default_rng(1), np.empty(trials)
    for i in range(trials):
        length, spacing = rng.normal(0.26, 1e-4), rng.normal(0.05, 3e-5)
        theta, mu = np.deg2rad(rng.normal(35.0, 0.2)), rng.normal(0.22, 0.02)
        peak, critical = rng.uniform(4.7, 5.1), rng.uniform(2.0, 2.4)
        drive = 9.80665 * (np.sin(theta) - mu * np.cos(theta))

        def motion(t, y, length=length, peak=peak, critical=critical, drive=drive):
            x, v = y
            cover = max(min(x, 1.16) - max(x - length, 0.06), 0.0) / 1.1
            return v, drive - peak * cover / 0.21 * 2 * (v / critical) / (1 + (v / critical) ** 2)

        edges = (0.76, 0.76 + spacing, 0.76 + length, 0.76 + spacing + length)
        events = [lambda t, y, at=at: y[0] - at for at in edges]
        events[-1].terminal = True
        found = solve_ivp(
            motion, (0.0, 60.0), (0.0, 0.0), rtol=1e-9, atol=1e-12, max_step=0.05, events=events
        )
        front, second, rear = (float(t[0]) for t in found.t_events[:3])
        readings[i] = spacing * (rear - front) / (second - front)
    return readings


def timed(task):
    start = time.perf_counter()
    result = task()
    return result, time.perf_counter() - start


def loop(rig, trials):
    """Errors of the first formula, one trial a call."""
    block = Streams(1, 0, trials)
    values = {name: np.broadcast_to(q.sample(block, name), (trials,)) for name, q in rig.inputs.items()}
    errors = []
    for i in range(trials):
        one = {name: value[i : i + 1] for name, value in values.items()}
        passed = pipeline.run(rig.scenario, Streams(2, i, 1), one, ends=False, move=one_by_one)
        errors.append(passed.readings["spacing-dwell"] - passed.true_length)
    return np.concatenate(errors)


def draw_only(used, blocks):
    for block in range(blocks):
        draw = Streams(1, block, BLOCK)
        for name, (kind, columns) in used.items():
            getattr(draw, kind)(name, columns)


def main() -> None:
    trials = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    rig = RigModel(parse_text(RIG))
    result, all_cores = timed(lambda: study(rig, Plan(trials=trials)))
    _, one_core = timed(lambda: study(rig, Plan(trials=max(trials // 10, BLOCK)), workers=1))
    errors, looped = timed(lambda: loop(rig, 200))
    _, plainly = timed(lambda: plain_loop(200))
    recorder = Recorder(Streams(1, 0, BLOCK))
    run(rig, recorder)
    numbers = sum(columns or 1 for _, columns in recorder.used.values())
    _, drawn = timed(lambda: draw_only(recorder.used, 20))
    rate, rate_one = trials / all_cores, max(trials // 10, BLOCK) / one_core
    rate_loop, rate_drawn = 200 / looped, 20 * BLOCK / drawn
    found = result.formulas["spacing-dwell"]
    off = (np.nanmean(errors) - found.bias.value) / (np.nanstd(errors) / np.sqrt(200))
    print(f"whole chain, all cores: {trials:,} trials in {all_cores:.2f} s, {rate:,.0f} trials/s")
    print(f"whole chain, one process: {rate_one:,.0f} trials/s")
    print(f"loop over solve_ivp: {rate_loop:,.1f} trials/s; ratio {rate / rate_loop:,.0f}")
    print(f"  (bias of the 200 looped trials is {off:+.1f} standard errors from that of the study)")
    print(f"plain loop over solve_ivp: {200 / plainly:,.1f} trials/s; ratio {rate * plainly / 200:,.0f}")
    print(f"drawing alone, one process: {numbers} numbers a trial, {rate_drawn:,.0f} trials/s;")
    print(f"  the chain in one process takes {rate_drawn / rate_one:.1f} times as long as its drawing")
    print("outcomes: " + ", ".join(f"{word} {s.share:.4f}" for word, s in result.outcomes.items()))


if __name__ == "__main__":
    main()
