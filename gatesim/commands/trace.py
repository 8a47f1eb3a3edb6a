"""``gatesim trace``."""

from pathlib import Path
from typing import Literal

import click

from gatesim.commands.filetypes import Command, Product, Source
from gatesim.commands.options import DARK, FIGURE, FILE, GATE, JSON, QUIET, UNIT, draw, show


@click.command("trace", cls=Command)
@FILE
@JSON
@FIGURE
@click.option("-o", "--output", type=Product("waveforms", (".vcd",)), default=None,
              help="Write sensor and input signals as a value change dump (IEEE 1364).")  # fmt: skip
@click.option("--measured", type=Source(), default=None,
              help="Edges of the real rig (see gatesim edges), laid over the simulated ones.")  # fmt: skip
@GATE
@DARK
@QUIET
@UNIT
def command(
    file: Path,
    as_json: bool,
    figure: Path | None,
    output: Path | None,
    measured: Path | None,
    gate: tuple[str, ...],
    dark: Literal["high", "low"],
    quiet: str,
    unit: str | None,
) -> None:
    """Follow one nominal passage through light, sensor, input filter and counter.

    The moments are printed in order; the figure is the timing diagram.
    """
    from gatesim.api.trace import trace
    from gatesim.scenario import load

    result = trace(load(file), measured=measured, gate=gate, dark=dark, quiet=quiet)
    draw(result, figure, unit)
    if output is not None:
        result.save(output)
    show(result, as_json, unit)
