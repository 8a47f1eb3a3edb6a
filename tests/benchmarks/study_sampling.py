"""What scrambled Sobol points are worth, side by side with pseudo-random draws; run by hand.

For each model and figure: how many pseudo-random trials would give the Monte Carlo error that as
many Sobol points gave (the square of the ratio of errors, errors from 32 independent studies).
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import numpy as np

from gatesim.studies.engine import study
from gatesim.studies.plan import Plan
from gatesim.studies.workers import InThisProcess
from tests.study_models import END_GAUGE, ISHIGAMI, MASS, FormulaModel, additive, unit_rectangular

TRIALS = 2**16
STUDIES = 32
FIGURES = ("bias", "uncertainty", "low", "high")


def counted(values):
    """A reading that is a whole number of counts of 0.3 standard uncertainties."""
    return 0.3 * np.floor(values["x0"] / 0.3 + values["x1"])


def scatter(model, quasi):
    found = [
        study(model, Plan(trials=TRIALS, seed=seed, quasi=quasi), executor=InThisProcess()).formulas["y"]
        for seed in range(STUDIES)
    ]
    return {figure: np.std([getattr(f, figure).value for f in found], ddof=1) for figure in FIGURES}


def main() -> None:
    models = {
        "additive, 4 rectangular": additive(*[unit_rectangular()] * 4),
        "mass, JCGM 101 9.3": MASS,
        "end gauge, JCGM 100 H.1": END_GAUGE,
        "Ishigami": ISHIGAMI,
        "counted in steps": FormulaModel(additive(unit_rectangular(), unit_rectangular()).inputs, counted),
    }
    print(f"{TRIALS:,} trials, {STUDIES} studies each; trials saved by Sobol points, as a factor")
    print(f"{'':28}" + "".join(f"{figure:>14}" for figure in FIGURES))
    for name, model in models.items():
        plain, quasi = scatter(model, False), scatter(model, True)
        factors = [(plain[f] / quasi[f]) ** 2 if quasi[f] > 0.0 else np.inf for f in FIGURES]
        print(f"{name:28}" + "".join(f"{factor:14.1f}" for factor in factors))


if __name__ == "__main__":
    main()
