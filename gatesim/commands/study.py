"""``gatesim study``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Product
from gatesim.commands.options import COVERAGE, FIGURE, FILE, FORMULA, JSON, SEED, UNIT, WORKERS, draw, show


@click.command("study", cls=Command)
@FILE
@click.option(
    "--trials",
    type=click.IntRange(min=1),
    default=None,
    help="Trials; with --until the most. Points come in whole replicates.",
)
@SEED
@click.option("--until", default=None, metavar="0.1%|DIGITS",
              help="Stop when all figures have settled, to a share of the standard uncertainty "
              "or to its significant digits (JCGM 101, 7.9).")  # fmt: skip
@COVERAGE
@click.option("--sobol/--pseudo-random", default=None,
              help="Scrambled Sobol points, or pseudo-random draws; left out, points where every draw has a "
              "coordinate, few trials go wrong and a reading is not one of few values.")  # fmt: skip
@WORKERS
@click.option("--state", type=Product("state file"), default=None,
              help="File kept up to date, from which a study that was stopped goes on.")  # fmt: skip
@click.option("--calibration", default="2x5", show_default=True, metavar="PARTSxPASSAGES",
              help="Reference parts, and passages of each, that every rig is calibrated with.")  # fmt: skip
@click.option("--csv", "csv_file", type=Product("table of trials"), default=None,
              help="Write every trial.")  # fmt: skip
@FORMULA
@JSON
@FIGURE
@UNIT
def command(
    file: Path,
    trials: int | None,
    seed: int,
    until: str | None,
    coverage: float,
    sobol: bool | None,
    workers: int | None,
    state: Path | None,
    calibration: str,
    csv_file: Path | None,
    formula: str | None,
    as_json: bool,
    figure: Path | None,
    unit: str | None,
) -> int:
    """Monte Carlo study: bias, standard uncertainty, coverage intervals, outcomes.

    Rigs are drawn, parts on each of them, and passages of each part: every quantity of FILE that
    has a spread as often as its `per` says. Each trial runs through the chain as a prediction
    does. Ctrl-C prints what was reached. The figure has the readings of the formula.
    """
    from gatesim.api.study import study
    from gatesim.ground.errors import InputError
    from gatesim.scenario import load
    from gatesim.studies.engine import UNSAVED

    result = study(
        load(file),
        trials=trials,
        seed=seed,
        until=until,
        coverage=coverage,
        sobol=sobol,
        workers=workers,
        state=state,
        calibration=calibration,
        csv=csv_file,
        formula=formula,
    )
    show(result, as_json, unit)
    draw(result, figure if result.formulas else None, unit)  # none if stopped within the first block
    if result.ended.startswith(UNSAVED):
        raise InputError(result.ended.removeprefix(UNSAVED))
    return 130 if result.ended == "interrupted" else 0
