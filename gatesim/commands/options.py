"""Options that several commands share."""

import click

from gatesim.commands.output import say

SEED = click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Same seed, same bits."
)


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
