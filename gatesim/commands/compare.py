"""``gatesim compare``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Number, Source
from gatesim.commands.options import FORMULA, JSON, PICTURES, SEED, UNIT, WORKERS, draw, output, show


@click.command("compare", cls=Command)
@click.argument("files", nargs=-1, required=True, type=Source())
@FORMULA
@click.option("--cost", type=Number(0.0), multiple=True,
              help="Cost of a set-up in any unit, once for each FILE in order.")  # fmt: skip
@click.option("--trials", type=click.IntRange(min=128), default=4096, show_default=True,
              help="Scrambled Sobol points of each study, in powers of two.")  # fmt: skip
@SEED
@WORKERS
@output("picture", "Draw all of them side by side to a PNG, SVG or PDF file.", endings=PICTURES)
@JSON
@UNIT
def command(
    files: tuple[Path, ...],
    formula: str | None,
    cost: tuple[float, ...],
    trials: int,
    seed: int,
    workers: int | None,
    output: Path | None,
    as_json: bool,
    unit: str | None,
) -> None:
    """Set two to six rigs side by side, in one table and one picture.

    Each is predicted and studied. The picture has the speed along the path with gates and brake,
    the error of every formula with what the requirement allows, and how the error is distributed.
    """
    from gatesim.api.compare import compare
    from gatesim.scenario import load

    scenarios = [load(file) for file in files]
    result = compare(*scenarios, formula=formula, cost=cost, trials=trials, seed=seed, workers=workers)
    draw(result, output, unit)
    show(result, as_json, unit)
