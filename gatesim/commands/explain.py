"""``gatesim explain``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FIGURE, FILE, FORMULA, JSON, UNIT, draw, show


@click.command("explain", cls=Command)
@FILE
@FORMULA
@JSON
@FIGURE
@UNIT
def command(file: Path, formula: str | None, as_json: bool, figure: Path | None, unit: str | None) -> None:
    """Say why the reading of FILE is off, and what would change it.

    The error is split among its causes so that the parts add up to it; then the changes that
    apply to this rig are each run through the whole chain, the cheapest first. The figure has
    the split as a waterfall.
    """
    from gatesim.api.explain import explain
    from gatesim.scenario import load

    result = explain(load(file), formula=formula)
    show(result, as_json, unit)
    draw(result, figure, unit)
