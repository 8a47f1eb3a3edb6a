"""``gatesim feed``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Number
from gatesim.commands.options import FIGURE, FILE, JSON, SEED, WORKERS, draw, show


@click.command("feed", cls=Command)
@FILE
@click.option("--parts", type=click.IntRange(min=200), default=20_000, show_default=True,
              help="Parts counted at each rate, rounded up to whole streams of 100.")  # fmt: skip
@click.option("--gaps", type=click.Choice(["fixed", "uniform", "normal", "exponential"]),
              default="exponential", show_default=True,
              help="Distribution of the times between releases.")  # fmt: skip
@click.option("--scatter", type=Number(0.0, 0.577), default=0.2, show_default=True,
              help="Standard deviation over mean of uniform and normal gaps.")  # fmt: skip
@click.option("--rates", default=None, metavar="LOW:HIGH:POINTS",
              help="Rates in parts a minute; left out: about the limit.")  # fmt: skip
@click.option("--yield", "least", type=Number(0.01, 0.9999), default=0.99, show_default=True,
              help="Wanted share of parts that are read correctly.")  # fmt: skip
@SEED
@WORKERS
@JSON
@FIGURE
def command(
    file: Path,
    parts: int,
    gaps: str,
    scatter: float,
    rates: str | None,
    least: float,
    seed: int,
    workers: int | None,
    as_json: bool,
    figure: Path | None,
) -> None:
    """How fast parts may follow one another.

    Parts with the spreads of FILE come at random intervals; gates, filters, capture and
    re-arming run on in time, so that each part meets what the one before left behind. The
    figure has what becomes of the parts against the rate.
    """
    from gatesim.api.feed import feed
    from gatesim.scenario import load

    result = feed(
        load(file),
        parts=parts,
        gaps=gaps,
        scatter=scatter,
        rates=rates,
        least_yield=least,
        seed=seed,
        workers=workers,
    )
    show(result, as_json)
    draw(result, figure)
