"""``gatesim formulas``."""

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import JSON, show


@click.command("formulas", cls=Command)
@JSON
def command(as_json: bool) -> None:
    """The length formulas: equation, what each needs and takes for granted, its error."""
    from gatesim.api.formulas import formulas

    show(formulas(), as_json)
