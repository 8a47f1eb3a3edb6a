"""``gatesim schema``."""

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.output import say_json


@click.command("schema", cls=Command)
@click.option("--choose", is_flag=True, help="Of the file that gatesim choose takes.")
def command(choose: bool) -> None:
    """Print the JSON Schema of the scenario format, for editors that complete TOML."""
    from gatesim.scenario.schema import json_schema

    if choose:
        from gatesim.studies.choice.model import choice_schema

        say_json(choice_schema())
    else:
        say_json(json_schema())
