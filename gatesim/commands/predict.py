"""``gatesim predict``."""

import click

from gatesim.api.predict import predict, side_by_side
from gatesim.commands.filetypes import Command, Source
from gatesim.commands.options import JSON, UNIT
from gatesim.commands.output import say, say_json
from gatesim.scenario import load


@click.command("predict", cls=Command)
@click.argument("files", nargs=-1, required=True, type=Source())
@JSON
@UNIT
def command(files: tuple[str, ...], as_json: bool, unit: str | None) -> None:
    """Predict what the counter shows and what length is read; several FILES side by side.

    As JSON it is a list with one entry a file.
    """
    predictions = [predict(load(file)) for file in files]
    if as_json:
        say_json([p.data() for p in predictions])
    else:
        say(predictions[0].text(unit) if len(predictions) == 1 else side_by_side(*predictions, unit=unit))
