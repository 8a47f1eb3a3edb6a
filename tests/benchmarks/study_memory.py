"""Peak memory and rate of a study of 1e8 trials of a cheap model; run by hand.

    python tests/benchmarks/study_memory.py [trials]

Also shows what the quantiles from bounded memory are worth: the model is normal, so the ends of
its 95 % interval are known.
"""

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from scipy.stats import norm

from gatesim.ground.distribution import Normal
from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from tests.study_models import additive


def main() -> None:
    trials = int(float(sys.argv[1])) if len(sys.argv) > 1 else 100_000_000
    start = time.perf_counter()
    result = study(additive(*[Normal(1.0)] * 4), Plan(trials=trials), progress=sys.stderr.isatty())
    took = time.perf_counter() - start
    own = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    worker = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024.0
    found = result.formulas["y"]
    print(f"{result.trials:.3g} trials in {took:.1f} s: {result.trials / took:.3g} trials/s")
    print(f"peak resident memory: main {own:.0f} MB, largest worker {worker:.0f} MB")
    for name, end, exact in (("low", found.low, norm.ppf(0.025)), ("high", found.high, norm.ppf(0.975))):
        off = (end.value - 2.0 * exact) / 2.0
        print(
            f"{name}: off by {off:+.1e} standard uncertainties; Monte Carlo error {end.error / 2.0:.1e}, "
            f"cell of the summary {found.resolution / 2.0:.1e}"
        )


if __name__ == "__main__":
    main()
