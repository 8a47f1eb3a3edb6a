"""``gatesim choose``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FIGURE, FILE, JSON, SEED, UNIT, WORKERS, draw, output, show


@click.command("choose", cls=Command)
@FILE
@click.option("--trials", type=click.IntRange(min=2), default=10_000, show_default=True,
              help="Trials of each candidate, spread evenly over the part lengths.")  # fmt: skip
@SEED
@WORKERS
@click.option("--race", is_flag=True,
              help="Heat with a tenth of the trials; who is surely beaten then leaves.")  # fmt: skip
@click.option("--rejected", is_flag=True, help="List every rejected candidate with its reason.")
@output("chosen scenario", "Write the winner as a scenario file.")
@JSON
@FIGURE
@UNIT
def command(
    file: Path,
    trials: int,
    seed: int,
    workers: int | None,
    race: bool,
    rejected: bool,
    output: Path | None,
    as_json: bool,
    figure: Path | None,
    unit: str | None,
) -> int:
    """Search for the cheapest rig that meets a requirement.

    FILE names a base scenario, options with their cost, ranges, and what is wanted. Rigs that
    physics rules out are rejected with a reason; the rest is simulated over common random
    numbers. Exit code 1 if no rig meets the requirement. The figure has cost against RMS error.
    """
    from gatesim.api.choose import choose
    from gatesim.ground.files import target
    from gatesim.studies.choice.model import load_choice

    options = load_choice(file)
    for made, kind in ((output, "chosen scenario"), (figure, "figure")):
        if made is not None:
            target(made, kind, options.bases)
    result = choose(options, trials=trials, seed=seed, workers=workers, race=race, rejected=rejected)
    show(result, as_json, unit)
    draw(result, figure, unit)
    if output is not None:
        result.save(output)
    return 0 if result.winner is not None else 1
