"""Processor time of `gatesim predict` for every shipped rig, beside `import numpy, scipy`; run by hand.

    python -m tests.benchmarks.start_up [ROUNDS]

Each round runs one after the other, in processes of their own, so that a ratio is of one time and one
machine. Modules are compiled once before, as an installation has them.
"""

import compileall
import os
import statistics
import subprocess
import sys
from pathlib import Path
from resource import RUSAGE_CHILDREN, getrusage

import gatesim

RIGS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.toml"))
BARE = ("-c", "import numpy, scipy")


def spent(*arguments):
    """Processor time in s of a Python process."""
    before = getrusage(RUSAGE_CHILDREN)
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONDONTWRITEBYTECODE"}
    subprocess.run([sys.executable, *arguments], env=environment, stdout=subprocess.DEVNULL, check=True)
    after = getrusage(RUSAGE_CHILDREN)
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main(rounds):
    compileall.compile_dir(Path(gatesim.__file__).parent, quiet=1)
    ratios = []
    for rig in RIGS:
        pairs = [(spent(*BARE), spent("-m", "gatesim", "predict", str(rig))) for _ in range(rounds)]
        bare, whole = (statistics.median(each) for each in zip(*pairs, strict=True))
        ratios.append(whole / bare)
        print(f"{rig.stem:28s}{1e3 * bare:5.0f} ms{1e3 * whole:6.0f} ms{whole / bare:6.2f}", flush=True)
    print(f"{'median of the rigs':44s}{statistics.median(ratios):6.2f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 9)
