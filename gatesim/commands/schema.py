"""``gatesim schema``."""

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.output import say_json


@click.command("schema", cls=Command)
def command() -> None:
    """Print the JSON Schema of the scenario format, for editors that complete TOML."""
    from gatesim.scenario.schema import json_schema

    say_json(json_schema())
