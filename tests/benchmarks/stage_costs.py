"""Processor time a trial of sensor, input filter and counter, piece by piece; run by hand.

    python tests/benchmarks/stage_costs.py

Everything is timed in one run, beside the bare drawing of the random numbers that a passage with
chatter needs. The rig is invented.
"""

import time
import timeit

import numpy as np

from gatesim.counter import Clock, Counter, Encoder, Hardware, Interrupt, Polled, count
from gatesim.ground.draw import Streams
from gatesim.inputfilter import HoldOff, Majority, StableFor
from gatesim.part import Part
from gatesim.sensor import Chatter, CircularBeam, Response, receiver_delay, respond, switching
from gatesim.studies.block import keep_memory

TRIALS = 4096
DRAW = Streams(1, 0, TRIALS)
PLAIN = Response(80e-6, 95e-6, 3e-6)
CHATTERING = Response(80e-6, 95e-6, 3e-6, chatter=Chatter(0.5, 50e-6))
BEAM = CircularBeam(2e-3)
CLOCK = Counter(Clock(1e5, 1e-5), Hardware())


def cost(task):
    """Nanoseconds a trial, best of nine."""
    task()
    return min(timeit.repeat(task, timer=time.process_time, number=20, repeat=9)) / 20 / TRIALS * 1e9


def drawing():
    for gate in ("1", "2"):
        DRAW.normal("jitter" + gate, 2)
        DRAW.uniform("pulses" + gate, 2)
        DRAW.uniform("spacing" + gate)
    DRAW.uniform("phase")


def whole(part, light, response):
    """The three stages of both gates."""
    gates = []
    for gate, times in enumerate(light, start=1):
        switching(part, BEAM, 0.55, 0.45, 0.26)
        gates.append(StableFor(1e-3).pass_on(respond(response, times, DRAW, gate), DRAW, f"filter@{gate}"))
    return count(CLOCK, gates, DRAW)


def main() -> None:
    keep_memory()  # as a study does
    rng = np.random.default_rng(1)
    part = Part(rng.normal(0.26, 1e-4, TRIALS))
    # as the chain has them, column after column in memory
    light = [np.repeat([[t], [t + 0.1]], TRIALS, axis=1).T for t in (1.0, 1.03)]
    noisy = respond(CHATTERING, light[0], DRAW, 1)
    face, speed, tau = switching(part, BEAM, 0.55, 0.45, 0.26).runs[0], rng.normal(1.0, 0.1, TRIALS), 1e-4
    roller = Encoder(1000, 4, 0.06366, 0.0, 1e-5, 0.1, lambda t: 0.5 * t)
    filters = StableFor(1e-3), HoldOff(1e-3), Majority(2e-4, 5, 4)
    tasks = {
        "drawing alone": drawing,
        "three stages, two gates": lambda: whole(part, light, PLAIN),
        "three stages, two gates, chatter": lambda: whole(part, light, CHATTERING),
        "switching positions, one gate": lambda: switching(part, BEAM, 0.55, 0.45, 0.26),
        "receiver, one edge": lambda: receiver_delay(
            face, np.full(TRIALS, 0.55), speed, np.full(TRIALS, tau)
        ),
        "response, one gate": lambda: respond(PLAIN, light[0], DRAW, 1),
        "response with chatter, one gate": lambda: respond(CHATTERING, light[0], DRAW, 1),
    }
    for kind in filters:
        name = type(kind).__name__
        tasks[f"{name}, one gate"] = lambda kind=kind: kind.pass_on(light[0], DRAW, "filter@1")
        tasks[f"{name}, one gate, chatter"] = lambda kind=kind: kind.pass_on(noisy, DRAW, "filter@1")
    for source in (CLOCK.source, roller):
        for timing in (Hardware(), Interrupt(1e-4, 1e-6), Polled(1e-3, 1e-5)):
            counter = Counter(source, timing)
            label = f"{type(source).__name__} counted by {type(timing).__name__.lower()}"
            tasks[label] = lambda counter=counter: count(counter, light, DRAW)
    costs = {label: cost(task) for label, task in tasks.items()}
    for label, spent in costs.items():
        print(f"{label:38s}{spent:7.0f} ns a trial, {spent / costs['drawing alone']:5.1f} times its drawing")


if __name__ == "__main__":
    main()
