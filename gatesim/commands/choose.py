"""``gatesim choose``."""

import sys
from pathlib import Path

import click

from gatesim.commands.options import SEED, WORKERS
from gatesim.commands.output import say, say_json


@click.command("choose")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--trials", type=click.IntRange(min=2), default=10_000, show_default=True,
              help="Trials of each candidate, spread evenly over the part lengths.")  # fmt: skip
@SEED
@WORKERS
@click.option("--race", is_flag=True,
              help="Heat with a tenth of the trials; who is surely beaten then leaves.")  # fmt: skip
@click.option("--write", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Write the winner as a scenario file.")  # fmt: skip
@click.option("--rejected", is_flag=True, help="List every rejected candidate with its reason.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON with every candidate, lengths in m.")
@click.option("-o", "figure", type=click.Path(path_type=Path, dir_okay=False), default=None,
              help="Draw cost against RMS error to a PNG, SVG or PDF file.")  # fmt: skip
def command(
    file: Path,
    trials: int,
    seed: int,
    workers: int | None,
    race: bool,
    write: Path | None,
    rejected: bool,
    as_json: bool,
    figure: Path | None,
) -> int:
    """Search for the cheapest rig that meets a requirement.

    FILE names a base scenario, options with their cost, ranges, and what is wanted. Rigs that
    physics rules out are rejected with a reason; the rest is simulated over common random
    numbers. Exit code 1 if no rig meets the requirement.
    """
    from gatesim.studies.choice.choose import choose
    from gatesim.studies.choice.export import choice_json, save_winner
    from gatesim.studies.choice.model import load_choice
    from gatesim.view.choicetext import choice_text
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    result = choose(load_choice(file), trials, seed, workers, progress=sys.stderr.isatty(), race=race)
    if as_json:
        say_json(choice_json(result))
    else:
        say(choice_text(result, every_rejection=rejected))
    if figure is not None:
        from gatesim.view.choicechart import choice_chart

        save(choice_chart(result), figure)
    if write is not None:
        save_winner(result, write)
    return 0 if result.winner is not None else 1
