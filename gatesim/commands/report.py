"""``gatesim report``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FILE, FORMULA, SEED, UNIT, WORKERS, output
from gatesim.commands.output import say


@click.command("report", cls=Command)
@FILE
@output("page", "HTML file to write.", required=True)
@FORMULA
@click.option("--trials", type=click.IntRange(min=1000), default=None,
              help="Run a study of so many trials, and add histogram and uncertainty budget.")  # fmt: skip
@SEED
@WORKERS
@UNIT
def command(
    file: Path,
    output: Path,
    formula: str | None,
    trials: int | None,
    seed: int,
    workers: int | None,
    unit: str | None,
) -> None:
    """Write one page on the rig of FILE: what is read, why, and what would change it.

    The page is a single HTML file that needs no network. It shows the passage as a picture
    to scrub, the parts of the error, and every change that was tried.
    """
    from gatesim.api.report import report
    from gatesim.scenario import load

    result = report(load(file), formula=formula, trials=trials, seed=seed, workers=workers, unit=unit)
    result.save(output)
    say(f"{output}: {result}")
