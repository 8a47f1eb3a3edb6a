"""Options that several commands share."""

import click

SEED = click.option(
    "--seed", type=click.IntRange(min=0), default=1, show_default=True, help="Same seed, same bits."
)
WORKERS = click.option(
    "--workers", type=click.IntRange(min=1), default=None, help="Processes; all cores if left out."
)
