"""``gatesim edges``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Source
from gatesim.commands.options import JSON, output, show


@click.command("edges", cls=Command)
@click.argument("file", type=Source())
@click.option("--gate", multiple=True, metavar="N=CHANNEL",
              help="Channel of a gate, such as 1=D0; left out: the channels in order.")  # fmt: skip
@click.option("--dark", type=click.Choice(["high", "low"]), default="high", show_default=True,
              help="Level of a dark gate.")  # fmt: skip
@click.option("--quiet", default="100 ms", show_default=True, metavar="TIME",
              help="All gates light for so long: the next passage begins.")  # fmt: skip
@click.option("--clock", default=None, metavar="FREQUENCY",
              help="Frequency of the counts in the log, as the scenario's counter has it.")  # fmt: skip
@output("log", "Write a log of counts for gatesim fit here, as a counter without input filter has them.")
@JSON
def command(
    file: Path,
    gate: tuple[str, ...],
    dark: str,
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

    result = edges(file, gate=gate, dark="high" if dark == "high" else "low", quiet=quiet, clock=clock)
    if output is not None:
        result.save(output)
    show(result, as_json)
