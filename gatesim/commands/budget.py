"""``gatesim budget``."""

import sys
from pathlib import Path

import click

from gatesim.commands.options import SEED, WORKERS
from gatesim.commands.output import say, say_json


@click.command("budget")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--formula", default=None, help="Formula to judge; left out: the one in charge.")
@click.option("--coverage", type=click.FloatRange(0.5, 0.9999), default=0.95, show_default=True,
              help="Coverage probability of the expanded uncertainty.")  # fmt: skip
@click.option("--trials", type=click.IntRange(min=1000), default=200_000, show_default=True,
              help="Trials of the Monte Carlo study beside it.")  # fmt: skip
@SEED
@WORKERS
@click.option("--json", "as_json", is_flag=True, help="Print JSON in SI units.")
def command(
    file: Path,
    formula: str | None,
    coverage: float,
    trials: int,
    seed: int,
    workers: int | None,
    as_json: bool,
) -> int:
    """Uncertainty budget: what each quantity contributes to the error of the reading.

    Linear propagation (JCGM 100) by differentiating the chain with the counter left unrounded;
    beside it a Monte Carlo study, whether the two agree (JCGM 101, clause 8), and Sobol indices.
    """
    from gatesim.scenario import load
    from gatesim.studies.budget import budget
    from gatesim.studies.engine import study
    from gatesim.studies.export import budget_json
    from gatesim.studies.indices import sobol_indices
    from gatesim.studies.plan import Plan
    from gatesim.studies.rig import RigModel
    from gatesim.studies.validation import validations
    from gatesim.view.studytext import budget_text

    rig = RigModel(load(file))
    chosen = rig.choose_formula(formula)
    table = budget(rig, chosen, coverage, seed)
    result = study(rig, Plan(trials, seed, coverage), workers=workers, progress=sys.stderr.isatty())
    if chosen not in result.formulas:  # stopped within the first block
        return 130
    simulated = result.formulas[chosen]
    checks = validations(table, simulated)
    indices = sobol_indices(rig, chosen, seed=seed, workers=workers) if table.combined > 0.0 else None
    show = budget_json if as_json else budget_text
    found = show(table, simulated, checks, indices)
    say_json(found) if as_json else say(found)
    return 130 if result.ended == "interrupted" else 0
