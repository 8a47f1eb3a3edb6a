"""``gatesim sweep``."""

import sys
from functools import partial
from pathlib import Path

import click

from gatesim.commands.options import SEED, WORKERS
from gatesim.commands.output import say, say_json


@click.command("sweep")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--vary", multiple=True, required=True, metavar="PATH=LOW:HIGH:POINTS[:log]",
              help="Quantity to vary, such as gate.spacing=20mm:200mm:30; twice for a map.")  # fmt: skip
@click.option(
    "--show", type=click.Choice(["bias", "uncertainty", "yield"]), default="bias", show_default=True
)
@click.option("--formula", default=None, help="Formula to show; left out: the one in charge.")
@click.option(
    "--trials", type=click.IntRange(min=1), default=10_000, show_default=True, help="Trials a point."
)
@SEED
@WORKERS
@click.option("--json", "as_json", is_flag=True, help="Print JSON with all figures, lengths in m.")
@click.option("--figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw a curve or a map to a PNG, SVG or PDF file.")  # fmt: skip
def command(
    file: Path,
    vary: tuple[str, ...],
    show: str,
    formula: str | None,
    trials: int,
    seed: int,
    workers: int | None,
    as_json: bool,
    figure: Path | None,
) -> int:
    """Study a rig over a range of one or two of its quantities.

    All points share their random numbers. The yield is the share of trials that the formula
    reads while nothing went wrong. Ctrl-C prints what was reached.
    """
    from gatesim.scenario import load
    from gatesim.studies.export import sweep_json
    from gatesim.studies.plan import Plan
    from gatesim.studies.rig import RigModel, parse_axis
    from gatesim.studies.sweep import sweep
    from gatesim.view.studytext import sweep_text
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    axes = [parse_axis(text) for text in vary]
    rig = RigModel(load(file))
    shown = rig.choose_formula(formula)
    at = partial(rig.with_values, {axis.path: axis.unit for axis in axes})
    result = sweep(at, axes, Plan(trials, seed), workers=workers, progress=sys.stderr.isatty())
    say_json(sweep_json(result)) if as_json else say(sweep_text(result, shown, show))
    if figure is not None and shown in result.formulas:
        from gatesim.view.sweepchart import sweep_chart

        save(sweep_chart(result, shown, show), figure)
    return 130 if result.interrupted else 0
