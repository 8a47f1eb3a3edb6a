"""``gatesim feed``."""

import math
import sys
from pathlib import Path

import click

from gatesim.commands.options import SEED, WORKERS
from gatesim.commands.output import say, say_json


@click.command("feed")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--parts", type=click.IntRange(min=200), default=20_000, show_default=True,
              help="Parts counted at each rate, rounded up to whole streams of 100.")  # fmt: skip
@click.option("--gaps", type=click.Choice(["fixed", "uniform", "normal", "exponential"]),
              default="exponential", show_default=True,
              help="Distribution of the times between releases.")  # fmt: skip
@click.option("--scatter", type=click.FloatRange(0.0, 0.577), default=0.2, show_default=True,
              help="Standard deviation over mean of uniform and normal gaps.")  # fmt: skip
@click.option("--rates", default=None, metavar="LOW:HIGH:POINTS",
              help="Rates in parts a minute; left out: about the limit.")  # fmt: skip
@click.option("--yield", "least", type=click.FloatRange(0.01, 0.9999), default=0.99, show_default=True,
              help="Wanted share of parts that are read correctly.")  # fmt: skip
@SEED
@WORKERS
@click.option("--json", "as_json", is_flag=True, help="Print JSON, rates in 1/s.")
@click.option("-o", "figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw the shares against the rate to a PNG, SVG or PDF file.")  # fmt: skip
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
    re-arming run on in time, so that each part meets what the one before left behind.
    """
    from gatesim.scenario import load
    from gatesim.studies.feed.export import feed_json
    from gatesim.studies.feed.feed import Feeding, feed
    from gatesim.studies.feed.supply import spacing_of
    from gatesim.view.feedtext import feed_text
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    feeding = Feeding(spacing_of(gaps, scatter), least, parts, seed)
    wanted = _rates(rates) if rates else None
    result = feed(load(file), feeding, wanted, workers, progress=sys.stderr.isatty())
    say_json(feed_json(result)) if as_json else say(feed_text(result))
    if figure is not None:
        from gatesim.view.feedchart import feed_chart

        save(feed_chart(result), figure)


def _rates(text: str) -> list[float]:
    """Rates in 1/s from LOW:HIGH:POINTS in parts a minute. Raises InputError."""
    import numpy as np

    from gatesim.ground.errors import InputError

    try:
        low, high, points = (float(part) for part in text.split(":"))
        if not (0.0 < low < high < math.inf and 2 <= points <= 1000 and points == int(points)):
            raise ValueError
    except ValueError:
        raise InputError(f"--rates: given {text!r}, expected LOW:HIGH:POINTS such as 10:120:12") from None
    return [float(rate) / 60.0 for rate in np.linspace(low, high, int(points))]
