"""``gatesim predict``."""

import click

from gatesim.commands.output import say, say_json
from gatesim.prediction.predict import predict
from gatesim.scenario import load
from gatesim.view.predictiontext import comparison, single


@click.command("predict")
@click.argument("files", nargs=-1, required=True, type=click.Path())
@click.option(
    "--json", "as_json", is_flag=True, help="Print every number, unrounded, as a list with one entry a file."
)
def command(files: tuple[str, ...], as_json: bool) -> None:
    """Predict what the counter shows and what length is read; several FILES side by side."""
    predictions = [predict(load(file)) for file in files]
    if as_json:
        say_json([p.as_json() for p in predictions])
    elif len(predictions) == 1:
        say(single(predictions[0]))
    else:
        say(comparison(predictions))
