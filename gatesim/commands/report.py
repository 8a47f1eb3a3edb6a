"""``gatesim report``."""

import sys
from pathlib import Path

import click

from gatesim.commands.options import WORKERS
from gatesim.commands.output import say


@click.command("report")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(path_type=Path, dir_okay=False), required=True,
              help="HTML file to write.")  # fmt: skip
@click.option("--formula", default=None, help="Formula to report on; left out: the one in charge.")
@click.option("--trials", type=click.IntRange(min=1000), default=None,
              help="Run a study of so many trials, and add histogram and uncertainty budget.")  # fmt: skip
@click.option("--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Seed of the study.")
@WORKERS
def command(
    file: Path, output: Path, formula: str | None, trials: int | None, seed: int, workers: int | None
) -> int:
    """Write one page on the rig of FILE: what is read, why, and what would change it.

    The page is a single HTML file that needs no network. It shows the passage as a picture
    to scrub, the parts of the error, and every change that was tried.
    """
    from gatesim.ground.errors import InputError
    from gatesim.scenario import load
    from gatesim.view.report import report_html

    scenario = load(file)
    study, budget = None, None
    if trials is not None:
        from gatesim.studies.budget import budget as budget_of
        from gatesim.studies.engine import study as run_study
        from gatesim.studies.plan import Plan
        from gatesim.studies.rig import RigModel

        rig = RigModel(scenario)
        chosen = rig.choose_formula(formula)
        study = run_study(rig, Plan(trials, seed), workers=workers, progress=sys.stderr.isatty())
        if study.ended == "interrupted":
            return 130
        budget = budget_of(rig, chosen, seed=seed)
    page = report_html(scenario, formula, study, budget)
    try:
        output.write_text(page, encoding="utf-8")
    except OSError as error:
        raise InputError(f"{output}: it cannot be written ({error.strerror or error})") from None
    say(f"{output}: {len(page.encode()) / 1e3:.0f} kB")
    return 0
