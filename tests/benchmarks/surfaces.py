"""Processor time a trial of motions that a surface answers for, beside the equation of motion; run by hand.

    python -m tests.benchmarks.surfaces [trials]

The shipped rigs whose motion takes steps, and the strongly braked one of its tests, as a study of so many
trials prepares them: seconds of the fit, cells and terms, microseconds a trial of both (10,000 at once,
medians of five), and the largest difference in crossing times relative to the time from first to last.
"""

import sys
import time
from pathlib import Path

import numpy as np

from gatesim.chain.once import once
from gatesim.chain.pipeline import motion_query
from gatesim.chain.reference import AS_USUAL
from gatesim.ground.draw import Streams
from gatesim.scenario import load, parse_text
from gatesim.studies.model import sample
from gatesim.studies.rig import RigModel
from tests.benchmarks.strong_brakes import processor_time
from tests.test_surface import BRAKED

SCENARIOS = Path(__file__).parents[2] / "scenarios"
SHIPPED = ("3-braked-rung", "4-launched-spacer", "11-slat-between-magnets", "12-magnet-in-tube")
TRIALS = 10_000


def main() -> None:
    trials = int(float(sys.argv[1])) if len(sys.argv) > 1 else 1_000_000
    rigs = {name: load(SCENARIOS / f"{name}.toml") for name in SHIPPED}
    rigs["80 N on 105 g"] = parse_text(BRAKED)
    print("                     rig  fit / s  cells  terms  motion / us  surface / us      off")
    for name, scenario in rigs.items():
        rig = RigModel(scenario)
        begin = time.process_time()
        ready = rig.prepared(trials, AS_USUAL)
        fit = time.process_time() - begin
        draw = Streams(1, 0, TRIALS)
        query = motion_query(scenario, draw, sample(rig, draw), ends=False)
        asked = (query.rig.part, query.rig.path, query.rig.forces, query.positions)
        motion = 1e6 / TRIALS * processor_time(lambda asked=asked: once(*asked))
        if ready.surface is None:
            print(f"{name:>24} {fit:8.2f} {'none':>6} {'':>6} {motion:12.2f}")
            continue
        sheet = ready.surface.sheets[0]
        surface = 1e6 / TRIALS * processor_time(lambda asked=asked, move=ready.surface: move(*asked))
        true, told = once(*asked).time, ready.surface(*asked).time
        off = np.max(np.abs(true - told).max(axis=1) / np.ptp(true, axis=1))
        size = f"{len(sheet.holds):6} {len(sheet.terms.every):6}"
        print(f"{name:>24} {fit:8.2f} {size} {motion:12.2f} {surface:13.2f} {off:8.0e}")


if __name__ == "__main__":
    main()
