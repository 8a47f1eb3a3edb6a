"""``gatesim bench``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Number, Source
from gatesim.commands.options import UNIT
from gatesim.commands.output import say


@click.command("bench", cls=Command)
@click.argument("file", type=Source(), required=False)
@click.option("--set", "settings", multiple=True, metavar="PATH=VALUE",
              help='Begin with a change, such as gate.spacing="80 mm"; empty: left out.')  # fmt: skip
@click.option("--idle", type=Number(0.05, 1e4), default=None, metavar="MINUTES",
              help="End when no page has been open for so long.")  # fmt: skip
@click.option(
    "--browser/--no-browser", default=True, help="Open the page in the browser, or only print where it is."
)
@UNIT
def command(
    file: Path | None, settings: tuple[str, ...], idle: float | None, browser: bool, unit: str | None
) -> None:
    """Open a page on the rig of FILE to turn its knobs; without FILE it offers rigs to begin with.

    The page is served from this machine to this machine alone, at an address with a key in it.
    Ctrl-C ends it. Nothing is written before you save.
    """
    from gatesim.api.bench import bench

    bench(file, settings=settings, idle=idle, browser=browser, unit=unit, say=say)
