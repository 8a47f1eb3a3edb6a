"""``gatesim predict``."""

import click

from gatesim.api.predict import compare, predict
from gatesim.commands.filetypes import Command, Source
from gatesim.commands.options import JSON
from gatesim.commands.output import say, say_json
from gatesim.scenario import load


@click.command("predict", cls=Command)
@click.argument("files", nargs=-1, required=True, type=Source())
@JSON
def command(files: tuple[str, ...], as_json: bool) -> None:
    """Predict what the counter shows and what length is read; several FILES side by side.

    As JSON it is a list with one entry a file.
    """
    predictions = [predict(load(file)) for file in files]
    if as_json:
        say_json([p.data() for p in predictions])
    else:
        say(predictions[0] if len(predictions) == 1 else compare(*predictions))
