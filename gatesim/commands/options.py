"""Arguments and options that several commands share, and how a result is shown."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from gatesim.commands.filetypes import Number, Product, Source
from gatesim.commands.output import say, say_json

if TYPE_CHECKING:
    from gatesim.api.result import Pictured, Result

# A decorator of click is not typed more closely than this
Option = Callable[[Any], Any]

FILE = click.argument("file", type=Source())
FORMULA = click.option("--formula", default=None, help="Formula in question; left out: the one in charge.")
SEED = click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Same seed, same bits."
)
JSON = click.option("--json", "as_json", is_flag=True, help="Print every figure as JSON, unrounded, SI.")
COVERAGE = click.option(
    "--coverage", type=Number(0.5, 0.9999), default=0.95, show_default=True,
    help="Coverage probability of the intervals.",
)  # fmt: skip
COLUMN = click.option(
    "--column",
    multiple=True,
    metavar="HEADER=NAME",
    help='Rename a column of the log, such as "N1=dwell [1]".',
)
REFERENCE_UNCERTAINTY = click.option(
    "--reference-uncertainty", default="0 mm", show_default=True, metavar="LENGTH",
    help="Standard uncertainty of each reference length.",
)  # fmt: skip
GUARD = click.option(
    "--guard", type=Number(0.0, 10.0), default=2.0, show_default=True,
    help="Guard band in standard uncertainties.",
)  # fmt: skip


def _at_most_the_cores(context: click.Context, option: click.Parameter, asked: int | None) -> int | None:
    if asked is None or asked <= LEAST_CAP:
        return asked
    from gatesim.studies.workers import usable_cores

    cores = usable_cores()
    if asked > max(LEAST_CAP, cores):
        say(f"--workers {asked}: more than this machine's {cores} cores; {cores} are used", error=True)
        return cores
    return asked


LEAST_CAP = 16
"""Processes that are granted without a look at the machine."""

WORKERS = click.option(
    "--workers",
    type=click.IntRange(min=1),
    default=None,
    callback=_at_most_the_cores,
    help="Processes; all cores if left out.",
)
PICTURES = (".png", ".svg", ".pdf")
FIGURE = click.option(
    "--figure", type=Product("figure", PICTURES), default=None,
    help="Draw it to a PNG, SVG or PDF file.",
)  # fmt: skip
UNIT = click.option(
    "--unit", type=click.Choice(["mm", "um", "in"]), default=None,
    help="Unit of lengths in text and figure, mm if left out; JSON stays in m.",
)  # fmt: skip

GATE = click.option(
    "--gate", multiple=True, metavar="N=CHANNEL",
    help="Channel of a gate in a record of edges, such as 1=D0; left out: the channels in order.",
)  # fmt: skip
DARK = click.option(
    "--dark", type=click.Choice(["high", "low"]), default="high", show_default=True,
    help="Level of a dark gate in a record of edges.",
)  # fmt: skip
QUIET = click.option(
    "--quiet", default="100 ms", show_default=True, metavar="TIME",
    help="All gates light for so long: the next passage of a record begins.",
)  # fmt: skip


def output(
    kind: str, what: str, *, required: bool = False, directory: bool = False, endings: tuple[str, ...] = ()
) -> Option:
    """The option -o of a command that makes a file, or a directory, named ``kind`` in messages."""
    made = Product(kind, endings, directory)
    return click.option("-o", "--output", type=made, default=None, required=required, help=what)


def show(result: "Result", as_json: bool, unit: str | None = None) -> None:
    """Print a result; one of lengths in the unit asked for."""
    from gatesim.api.result import WithLengths

    if as_json:
        say_json(result.data())
    else:
        say(result.text(unit) if isinstance(result, WithLengths) else result)


def draw(result: "Pictured", figure: Path | None, unit: str | None = None) -> None:
    """Save the picture of a result where one is wanted; one of lengths in the unit. Raises InputError."""
    if figure is not None:
        from gatesim.api.result import PicturedLengths
        from gatesim.view.style import save

        save(result.plot(unit=unit) if isinstance(result, PicturedLengths) else result.plot(), figure)
