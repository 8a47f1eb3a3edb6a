"""``gatesim keys``."""

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import JSON, show


@click.command("keys", cls=Command)
@click.argument("path", default="")
@click.option("--choose", is_flag=True, help="Of the file that gatesim choose takes.")
@JSON
def command(path: str, choose: bool, as_json: bool) -> None:
    """What a scenario may state: every key with unit, range, default, meaning and how often it is drawn.

    PATH is a table such as brake.magnet, or a key such as gate.spacing; left out: all.
    """
    from gatesim.api.keys import keys

    show(keys(path, choose=choose), as_json)
