"""``gatesim fit``."""

from pathlib import Path

import click

from gatesim.commands.output import say, say_json
from gatesim.commands.qualify import renamed
from gatesim.ground.errors import InputError


@click.command("fit")
@click.argument("file", type=click.Path(path_type=Path))
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--unknown", multiple=True, required=True, metavar="PATH",
              help="Quantity to estimate, such as path.friction; no prior is used.")  # fmt: skip
@click.option("--varies", multiple=True, metavar="PATH",
              help="Quantity whose spread is from passage to passage, such as gate.first.")  # fmt: skip
@click.option("--trend", multiple=True, metavar="PATH",
              help="Fitted quantity that changes steadily over the log.")  # fmt: skip
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Write FILE with the fitted values, constants and covariance here.")  # fmt: skip
@click.option(
    "--formula", default=None, help="Formula whose constants are written; left out: the one in charge."
)
@click.option("--reference-uncertainty", default="0 mm", show_default=True, metavar="LENGTH",
              help="Standard uncertainty of each reference length.")  # fmt: skip
@click.option("--mass-follows-length", is_flag=True,
              help="A part's mass goes with its length; else every part has the mass of FILE.")  # fmt: skip
@click.option("--held-out", type=click.FloatRange(0.0, 0.9), default=0.25, show_default=True,
              help="Share of the reference rows that only judges the correction.")  # fmt: skip
@click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Of that split and the scatter."
)
@click.option("--column", multiple=True, metavar="HEADER=NAME",
              help='Rename a column of the log, such as "N1=dwell [1]".')  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print JSON, SI units.")
@click.option("--figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw the residuals to a PNG, SVG or PDF file.")  # fmt: skip
def command(
    file: Path,
    log: Path,
    unknown: tuple[str, ...],
    varies: tuple[str, ...],
    trend: tuple[str, ...],
    output: Path | None,
    formula: str | None,
    reference_uncertainty: str,
    mass_follows_length: bool,
    held_out: float,
    seed: int,
    column: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
) -> None:
    """Estimate unknown quantities of FILE from a LOG of the real rig's counts.

    The log is a CSV file, one row a passage: "dwell [1]", "capture [1]", "rear capture [1]",
    "third capture [1]" as far as the rig has them, and where known "reference [mm]" (true
    length of a reference part), "part" and "time". Quantities of FILE with a spread that are
    neither unknown nor varying are one value, the same in every row and known with that
    standard uncertainty; they are estimated along. Jitter, phases and whole counts scatter
    from row to row and make the weights.
    """
    from datetime import date

    from gatesim.scenario import load
    from gatesim.shopfloor.fit.correction import correction_of
    from gatesim.shopfloor.fit.fit import fit
    from gatesim.shopfloor.fit.result import Wish
    from gatesim.shopfloor.fit.write import write_fitted
    from gatesim.shopfloor.log import read_log
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    doubt = _doubt(reference_uncertainty)
    wish = Wish(unknown, varies, doubt, held_out, seed, mass_follows_length, trends=trend)
    scenario = load(file)
    result = fit(scenario, read_log(log, mapping=dict(renamed(pair) for pair in column)), wish)
    correction_of(result, formula)
    if as_json:
        from gatesim.shopfloor.fit.export import fit_json

        say_json(fit_json(result))
    else:
        from gatesim.view.fittext import fit_text

        say(fit_text(result))
    if figure is not None:
        from gatesim.view.residualchart import residual_figure

        save(residual_figure(result).axes[0], figure)
    if output is not None:
        write_fitted(result, file, output, formula, date.today())


def _doubt(text: str) -> float:
    from gatesim.commands.qualify import length_of

    std = length_of(text, "--reference-uncertainty")
    if std < 0.0:
        raise InputError(f"--reference-uncertainty: given {text!r}, expected 0 or more")
    return std
