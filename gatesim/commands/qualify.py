"""``gatesim qualify``."""

from pathlib import Path

import click

from gatesim.commands.filetypes import Command, Source
from gatesim.commands.options import (
    COLUMN,
    FIGURE,
    FORMULA,
    GUARD,
    JSON,
    REFERENCE_UNCERTAINTY,
    UNIT,
    draw,
    show,
)


@click.command("qualify", cls=Command)
@click.argument("log", type=Source())
@click.option("--lower", default=None, metavar="LENGTH", help='Lower tolerance limit, such as "179.5 mm".')
@click.option("--upper", default=None, metavar="LENGTH", help='Upper tolerance limit, such as "180.5 mm".')
@click.option("--rig", type=Source(), default=None,
              help="Scenario whose formula turns logged counts into lengths, and whose limits hold if "
              "none are given.")  # fmt: skip
@FORMULA
@click.option("--convention", type=click.Choice(["iso", "msa"]), default="iso", show_default=True,
              help="C_g with a gauge spread of 4 s (ISO 22514-7) or of 6 s (MSA manual).")  # fmt: skip
@GUARD
@REFERENCE_UNCERTAINTY
@click.option("--resolution", default=None, metavar="LENGTH",
              help="Step of the readings; left out: as the log writes them, or one count of the "
              "rig.")  # fmt: skip
@COLUMN
@JSON
@FIGURE
@UNIT
def command(
    log: Path,
    lower: str | None,
    upper: str | None,
    rig: Path | None,
    formula: str | None,
    convention: str,
    guard: float,
    reference_uncertainty: str,
    resolution: str | None,
    column: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
    unit: str | None,
) -> None:
    """Qualify the gauge from a LOG of its readings.

    The log is a CSV file, one row a passage: "length [mm]" (or, with --rig, the counts
    "dwell [1]", "capture [1]", ...) and, where known, "reference [mm]" (true length of a
    reference part), "part" and "operator". Type-1 and linearity studies use the rows with a
    reference length, the repeatability study those that name a part. The figure has all studies.
    """
    from gatesim.api.qualify import qualify
    from gatesim.scenario import load

    result = qualify(
        log,
        lower=lower,
        upper=upper,
        rig=None if rig is None else load(rig),
        formula=formula,
        convention=convention,
        guard=guard,
        reference_uncertainty=reference_uncertainty,
        resolution=resolution,
        column=column,
    )
    show(result, as_json, unit)
    draw(result, figure, unit)
