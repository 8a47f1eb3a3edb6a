"""``gatesim fit``."""

from pathlib import Path
from typing import Literal

import click

from gatesim.commands.filetypes import Command, Number, Source
from gatesim.commands.options import (
    COLUMN,
    DARK,
    FIGURE,
    FILE,
    FORMULA,
    GATE,
    JSON,
    QUIET,
    REFERENCE_UNCERTAINTY,
    SEED,
    UNIT,
    draw,
    output,
    show,
)


@click.command("fit", cls=Command)
@FILE
@click.argument("log", type=Source())
@click.option("--unknown", multiple=True, required=True, metavar="PATH",
              help="Quantity to estimate, such as path.friction; no prior is used.")  # fmt: skip
@click.option("--varies", multiple=True, metavar="PATH",
              help="Quantity whose spread is from passage to passage, such as gate.first.")  # fmt: skip
@click.option("--trend", multiple=True, metavar="PATH",
              help="Fitted quantity that changes steadily over the log.")  # fmt: skip
@FORMULA
@REFERENCE_UNCERTAINTY
@click.option("--mass-follows-length", is_flag=True,
              help="A part's mass goes with its length; else every part has the mass of FILE.")  # fmt: skip
@click.option("--held-out", type=Number(0.0, 0.9), default=0.25, show_default=True,
              help="Share of the reference rows that only judges the correction.")  # fmt: skip
@SEED
@COLUMN
@GATE
@DARK
@QUIET
@click.option("--filtered", multiple=True, metavar="N=CHANNEL",
              help="Channel of a gate behind the input filter in a record, such as 1=D4.")  # fmt: skip
@click.option("--reference", default=None, metavar="LENGTH",
              help="True length of the part in all passages of a record of edges.")  # fmt: skip
@output("fitted scenario", "Write FILE with fitted values, covariance and the formula's constants here.")
@JSON
@FIGURE
@UNIT
def command(
    file: Path,
    log: Path,
    unknown: tuple[str, ...],
    varies: tuple[str, ...],
    trend: tuple[str, ...],
    formula: str | None,
    reference_uncertainty: str,
    mass_follows_length: bool,
    held_out: float,
    seed: int,
    column: tuple[str, ...],
    gate: tuple[str, ...],
    dark: Literal["high", "low"],
    quiet: str,
    filtered: tuple[str, ...],
    reference: str | None,
    output: Path | None,
    as_json: bool,
    figure: Path | None,
    unit: str | None,
) -> None:
    """Estimate unknown quantities of FILE from a LOG of the real rig's counts, or of its edges in time.

    The log is a CSV file, one row a passage: "dwell [1]", "capture [1]", "rear capture [1]",
    "third capture [1]" as far as the rig has them, and where known "reference [mm]" (true
    length of a reference part), "part" and "time". Quantities of FILE with a spread that are
    neither unknown nor varying are one value, the same in every row and known with that
    standard uncertainty; they are estimated along. Jitter, phases and whole counts scatter
    from row to row and make the weights. The figure has the residuals.

    LOG may be a record of edge times instead, as gatesim edges takes it: the sensors' outputs by a
    logic analyser or an oscilloscope. It is cut into passages, extra edges are told from the part's own,
    and with --unknown sensor.jitter, sensor.chatter or filter these are estimated, too.
    """
    from gatesim.api.fit import fit
    from gatesim.scenario import load

    result = fit(
        load(file),
        log,
        unknown,
        varies=varies,
        trend=trend,
        formula=formula,
        reference_uncertainty=reference_uncertainty,
        mass_follows_length=mass_follows_length,
        held_out=held_out,
        seed=seed,
        column=column,
        gate=gate,
        dark=dark,
        quiet=quiet,
        filtered=filtered,
        reference=reference,
    )
    show(result, as_json, unit)
    draw(result, figure, unit)
    if output is not None:
        result.save(output)
