"""The motion of a braked part beside a just-in-time compiled batch of a general solver; run by hand.

    python tests/benchmarks/compiled_peer.py [trials]

Needs `diffrax` (with `jax`), which nothing else here does; without it only our own row is printed. The
peer starts where the brake begins, with the closed form up to there, integrates over the position with
the ends of the brake as known kinks, and saves at the four positions asked for; other ways to write it
may be quicker. Compilation is not counted; both run on one core, in double precision, in turns.
"""

import os
import sys
import time

os.environ.setdefault("XLA_FLAGS", "--xla_cpu_multi_thread_eigen=false intra_op_parallelism_threads=1")

import numpy as np

from gatesim.ground.draw import Streams
from gatesim.motion import passage
from gatesim.scenario import parse_text
from gatesim.studies.rig import RigModel
from tests.benchmarks.full_chain import RIG

BATCH = 4096
START, LENGTH = 0.06, 1.1  # of the brake in the rig, m
TURNS = 5


def drawn(trials: int):
    """Rig with values for n trials and the positions (n, 4) of both ends at both gates."""
    from gatesim.chain.pipeline import drawn as values_of
    from gatesim.chain.pipeline import rig_of

    scenario = RigModel(parse_text(RIG)).scenario
    rig = rig_of(scenario, values_of(scenario, Streams(1, 0, trials)))
    length = np.broadcast_to(rig.part.length, trials)
    first, second = (np.broadcast_to(gate, trials) for gate in rig.gates)
    return rig, np.column_stack([first, second, first + length, second + length])


def peer(rig, positions):
    """A function that gives crossing times (n, 4), compiled; None where there is no diffrax."""
    try:
        import diffrax
        import jax
    except ImportError:
        return None
    jax.config.update("jax_enable_x64", True)
    jnp = jax.numpy
    (brake,) = rig.forces
    drive = rig.path.gravity * (np.sin(rig.path.slope) - rig.path.friction * np.cos(rig.path.slope))

    def slope(x, y, args):
        length, drive, peak, critical = args
        v = y[1]
        cover = jnp.maximum(jnp.minimum(x, START + LENGTH) - jnp.maximum(x - length, START), 0.0) / LENGTH
        a = drive - peak * cover / rig.part.mass * 2 * (v / critical) / (1 + (v / critical) ** 2)
        return jnp.stack([1 / v, a / v])

    def one(at, length, drive, peak, critical):
        begin = jnp.stack([jnp.sqrt(2 * START / drive), jnp.sqrt(2 * drive * START)])
        kinks = jnp.stack([START + length, jnp.asarray(START + LENGTH)])
        control = diffrax.ClipStepSizeController(
            diffrax.PIDController(rtol=1e-8, atol=1e-10), jump_ts=jnp.sort(kinks)
        )
        solved = diffrax.diffeqsolve(
            diffrax.ODETerm(slope), diffrax.Dopri8(), START, at[-1], None, begin,
            args=(length, drive, peak, critical), saveat=diffrax.SaveAt(ts=at), stepsize_controller=control,
        )  # fmt: skip
        return solved.ys[:, 0]

    batch = jax.jit(jax.vmap(one))
    columns = [
        np.broadcast_to(value, len(positions))
        for value in (rig.part.length, drive, brake.peak_force, brake.critical_speed)
    ]

    def run():
        found = [
            np.asarray(batch(positions[i : i + BATCH], *(c[i : i + BATCH] for c in columns)))
            for i in range(0, len(positions), BATCH)
        ]
        return np.concatenate(found)

    return run


def main() -> None:
    trials = (int(sys.argv[1]) if len(sys.argv) > 1 else 40_000) // BATCH * BATCH
    rig, positions = drawn(trials)
    tasks = {"gatesim": lambda: passage(rig.part, rig.path, rig.forces, positions).time}
    if (compiled := peer(rig, positions)) is not None:
        tasks["compiled peer"] = compiled
    times = {name: task() for name, task in tasks.items()}  # once for the compiler and the caches
    spent: dict[str, list[float]] = {name: [] for name in tasks}
    for _ in range(TURNS):
        for name, task in tasks.items():
            start = time.process_time()
            task()
            spent[name].append((time.process_time() - start) / trials)
    for name, seconds in spent.items():
        print(f"{name}: {1e6 * np.median(seconds):.2f} us a trial (processor time, motion only)")
    if len(times) == 2:
        ours, theirs = times.values()
        print(f"greatest relative difference of a crossing time: {np.max(np.abs(theirs / ours - 1)):.1e}")
    else:
        print("diffrax is not installed: no peer to compare with")


if __name__ == "__main__":
    main()
