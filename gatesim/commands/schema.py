"""``gatesim schema``."""

import json

import click


@click.command("schema")
def command() -> None:
    """Print the JSON Schema of the scenario format, for editors that complete TOML."""
    from gatesim.scenario.schema import json_schema

    click.echo(json.dumps(json_schema(), indent=2, ensure_ascii=False))
