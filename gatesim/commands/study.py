"""``gatesim study``."""

import sys
from pathlib import Path
from typing import TextIO

import click

from gatesim.commands.options import SEED, WORKERS
from gatesim.commands.output import say, say_json


@click.command("study")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--trials", type=click.IntRange(min=1), default=None, help="Trials; with --until the most.")
@SEED
@click.option("--until", default=None, metavar="0.1%|DIGITS",
              help="Stop when all figures have settled, to a share of the standard uncertainty "
              "or to its significant digits (JCGM 101, 7.9).")  # fmt: skip
@click.option("--coverage", type=click.FloatRange(0.5, 0.9999), default=0.95, show_default=True,
              help="Coverage probability of the intervals.")  # fmt: skip
@click.option("--sobol", is_flag=True, help="Scrambled Sobol points; they pay if few trials go wrong.")
@WORKERS
@click.option("--state", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="File kept up to date, from which a study that was stopped goes on.")  # fmt: skip
@click.option("--calibration", default="2x5", show_default=True, metavar="PARTSxPASSAGES",
              help="Reference parts, and passages of each, that every rig is calibrated with.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print JSON, lengths in m.")
@click.option("--csv", "csv_file", type=click.File("w", lazy=False), default=None, help="Write every trial.")
@click.option("--figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw the readings to a PNG, SVG or PDF file.")  # fmt: skip
@click.option("--formula", default=None, help="Formula of the figure; left out: the one in charge.")
def command(
    file: Path,
    trials: int | None,
    seed: int,
    until: str | None,
    coverage: float,
    sobol: bool,
    workers: int | None,
    state: Path | None,
    calibration: str,
    as_json: bool,
    csv_file: TextIO | None,
    figure: Path | None,
    formula: str | None,
) -> int:
    """Monte Carlo study: bias, standard uncertainty, coverage intervals, outcomes.

    Rigs are drawn, parts on each of them, and passages of each part: every quantity of FILE that
    has a spread as often as its `per` says. Each trial runs through the chain as a prediction
    does. Ctrl-C prints what was reached.
    """
    from gatesim.chain.reference import parse_calibration
    from gatesim.scenario import load
    from gatesim.scenario.fitted import fit_warning
    from gatesim.studies.engine import study
    from gatesim.studies.export import study_json, trials_writer
    from gatesim.studies.model import layout_of
    from gatesim.studies.plan import MOST_TRIALS, Plan
    from gatesim.studies.rig import RigModel
    from gatesim.studies.until import parse_until
    from gatesim.view.studytext import study_text
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    target, how = parse_until(until) if until else None, parse_calibration(calibration)
    rig = RigModel(load(file))
    shown = rig.choose_formula(formula)
    plan = Plan(trials or (MOST_TRIALS if target else 100_000), seed, coverage, target, sobol, how)
    sink = trials_writer(csv_file, layout_of(rig)) if csv_file else None
    result = study(rig, plan, None, workers, state, sink, progress=sys.stderr.isatty())
    warning = fit_warning(rig.scenario.fitted)
    if as_json:
        say_json({**study_json(result), "warnings": list(warning)})
    else:
        say("\n\n".join([*warning, study_text(result)]))
    if figure is not None and shown in result.formulas:
        from gatesim.view.histogram import histogram

        limits = rig.scenario.requirement
        low, high = (q.nominal if q else None for q in (limits.lower_limit, limits.upper_limit))
        save(histogram(result, shown, low, high), figure)
    return 130 if result.ended == "interrupted" else 0
