"""``gatesim budget``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import COVERAGE, FILE, FORMULA, JSON, SEED, UNIT, WORKERS, show


@click.command("budget", cls=Command)
@FILE
@FORMULA
@COVERAGE
@click.option("--trials", type=click.IntRange(min=1000), help="Trials of the Monte Carlo study beside it, on "
              "scrambled Sobol points.  [default: 16384, and 65536 where these do not decide]")  # fmt: skip
@SEED
@WORKERS
@JSON
@UNIT
def command(
    file: Path,
    formula: str | None,
    coverage: float,
    trials: int | None,
    seed: int,
    workers: int | None,
    as_json: bool,
    unit: str | None,
) -> int:
    """Uncertainty budget: what each quantity contributes to the error of the reading.

    Linear propagation (JCGM 100) by differentiating the chain with the counter left unrounded;
    beside it a Monte Carlo study, whether the two agree (JCGM 101, clause 8), and Sobol indices.
    """
    from gatesim.api.budget import budget
    from gatesim.scenario import load

    result = budget(load(file), formula=formula, coverage=coverage, trials=trials, seed=seed, workers=workers)
    show(result, as_json, unit)
    return 130 if result.ended == "interrupted" else 0
