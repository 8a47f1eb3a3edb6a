"""``gatesim sweep``."""

from pathlib import Path
from typing import Literal

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FIGURE, FILE, FORMULA, JSON, SEED, UNIT, WORKERS, draw, show


@click.command("sweep", cls=Command)
@FILE
@click.option("--vary", multiple=True, required=True, metavar="PATH=LOW:HIGH:POINTS[:log]",
              help="Quantity to vary, such as gate.spacing=20mm:200mm:30; twice for a map.")  # fmt: skip
@click.option(
    "--show", "figures", type=click.Choice(["bias", "uncertainty", "yield"]), default="bias",
    show_default=True,
)  # fmt: skip
@FORMULA
@click.option(
    "--trials", type=click.IntRange(min=1), default=10_000, show_default=True, help="Trials a point."
)
@SEED
@WORKERS
@JSON
@FIGURE
@UNIT
def command(
    file: Path,
    vary: tuple[str, ...],
    figures: Literal["bias", "uncertainty", "yield"],
    formula: str | None,
    trials: int,
    seed: int,
    workers: int | None,
    as_json: bool,
    figure: Path | None,
    unit: str | None,
) -> int:
    """Study a rig over a range of one or two of its quantities.

    All points share their random numbers. The yield is the share of trials that the formula
    reads while nothing went wrong. Ctrl-C prints what was reached. The figure is a curve or a map.
    """
    from gatesim.api.sweep import sweep
    from gatesim.scenario import load

    result = sweep(load(file), vary, show=figures, formula=formula, trials=trials, seed=seed, workers=workers)
    show(result, as_json, unit)
    draw(result, figure if result.formulas else None, unit)  # none if stopped at the first point
    return 130 if result.interrupted else 0
