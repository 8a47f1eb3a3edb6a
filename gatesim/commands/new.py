"""``gatesim new``."""

from pathlib import Path

import click

from gatesim.api.new import KINDS, new
from gatesim.commands.filetypes import Command
from gatesim.commands.options import output
from gatesim.commands.output import say


@click.command("new", cls=Command)
@click.option("--kind", required=True, type=click.Choice(KINDS),
              help="What moves the part.")  # fmt: skip
@output("new scenario", "Write it here; left out: print it. A file that exists is kept.")
def command(kind: str, output: Path | None) -> None:
    """Write a commented starter scenario, which predicts as it is; all its values are invented."""
    starter = new(kind)
    if output is None:
        say(str(starter).rstrip("\n"))
        return
    starter.save(output)
    say(f"{output}: written, with invented values. Next: change them, then  gatesim predict {output}")
