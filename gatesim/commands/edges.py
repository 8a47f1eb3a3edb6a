"""``gatesim edges``."""

from pathlib import Path
from typing import Literal

import click

from gatesim.commands.filetypes import Command, Source
from gatesim.commands.options import DARK, GATE, JSON, QUIET, output, show


@click.command("edges", cls=Command)
@click.argument("file", type=Source())
@GATE
@DARK
@QUIET
@click.option("--clock", default=None, metavar="FREQUENCY",
              help="Frequency of the counts in the log, as the scenario's counter has it.")  # fmt: skip
@output("log", "Write a log of counts for gatesim fit here, as a counter without input filter has them.")
@JSON
def command(
    file: Path,
    gate: tuple[str, ...],
    dark: Literal["high", "low"],
    quiet: str,
    clock: str | None,
    output: Path | None,
    as_json: bool,
) -> None:
    """Edge times of a logic analyser or an oscilloscope: passages, dwell, delays, chatter.

    FILE is a value change dump (VCD, IEEE 1364), or CSV with one row a change, "time [us],gate1,gate2"
    with levels 0 and 1, or one row an edge, "time [us],channel,level".
    """
    from gatesim.api.edges import edges

    result = edges(file, gate=gate, dark=dark, quiet=quiet, clock=clock)
    if output is not None:
        result.save(output)
    show(result, as_json)
