"""``gatesim trace``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FIGURE, FILE, JSON, draw, show


@click.command("trace", cls=Command)
@FILE
@JSON
@FIGURE
def command(file: Path, as_json: bool, figure: Path | None) -> None:
    """Follow one nominal passage through light, sensor, input filter and counter.

    The moments are printed in order; the figure is the timing diagram.
    """
    from gatesim.api.trace import trace
    from gatesim.scenario import load

    result = trace(load(file))
    draw(result, figure)
    show(result, as_json)
