"""``gatesim explain``."""

from pathlib import Path

import click

from gatesim.commands.output import say, say_json


@click.command("explain")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--formula", default=None, help="Formula to explain; left out: the one in charge.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON in SI units.")
@click.option("--figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw the split as a waterfall to a PNG, SVG or PDF file.")  # fmt: skip
def command(file: Path, formula: str | None, as_json: bool, figure: Path | None) -> None:
    """Say why the reading of FILE is off, and what would change it.

    The error is split among its causes so that the parts add up to it; then the changes that
    apply to this rig are each run through the whole chain, the cheapest first.
    """
    from gatesim.chain import pipeline
    from gatesim.explanation import breakdown
    from gatesim.explanation.export import explain_json
    from gatesim.explanation.remedy import remedies
    from gatesim.explanation.sentences import facts
    from gatesim.ground.draw import Nominal
    from gatesim.scenario import load
    from gatesim.view.explaintext import explain_text
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    scenario = load(file)
    found = breakdown(scenario, formula)
    tried = remedies(scenario, found.formula)
    about = facts(scenario, pipeline.run(scenario, Nominal(1)))
    if as_json:
        say_json(explain_json(found, about, tried))
    else:
        say(explain_text(found, about, tried))
    if figure is not None:
        from gatesim.view.waterfall import waterfall

        save(waterfall(found), figure)
