"""``gatesim trace``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Product
from gatesim.commands.options import FIGURE, FILE, JSON, draw, show


@click.command("trace", cls=Command)
@FILE
@JSON
@FIGURE
@click.option("-o", "--output", type=Product("waveforms", (".vcd",)), default=None,
              help="Write sensor and input signals as a value change dump (IEEE 1364).")  # fmt: skip
def command(file: Path, as_json: bool, figure: Path | None, output: Path | None) -> None:
    """Follow one nominal passage through light, sensor, input filter and counter.

    The moments are printed in order; the figure is the timing diagram.
    """
    from gatesim.api.trace import trace
    from gatesim.scenario import load

    result = trace(load(file))
    draw(result, figure)
    if output is not None:
        result.save(output)
    show(result, as_json)
