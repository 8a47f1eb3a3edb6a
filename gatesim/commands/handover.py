"""``gatesim handover``."""

from pathlib import Path
from typing import Literal

import click

from gatesim.commands.filetypes import Command
from gatesim.commands.options import FILE, FORMULA, GUARD, JSON, output
from gatesim.commands.output import say, say_json


@click.command("handover", cls=Command)
@FILE
@output("package", "Directory to write; must not exist.", required=True, directory=True)
@FORMULA
@click.option("--lengths", nargs=2, default=None, metavar="LEAST MOST",
              help='Stated lengths, such as "0.1 m" "0.2 m".')  # fmt: skip
@click.option("--speeds", nargs=2, default=None, metavar="LEAST MOST",
              help="Stated speeds at the gates; left out: simulated.")  # fmt: skip
@click.option("--step", default="1 um", show_default=True, metavar="LENGTH",
              help="Length that one count of the result stands for.")  # fmt: skip
@click.option("--widest", type=click.Choice(["DINT", "LINT"]), default="LINT", show_default=True,
              help="Widest integer type of the controller.")  # fmt: skip
@click.option("--uncertainty", default=None, metavar="LENGTH",
              help="Standard uncertainty of a reading, as qualified.")  # fmt: skip
@GUARD
@JSON
def command(
    file: Path,
    output: Path,
    formula: str | None,
    lengths: tuple[str, str] | None,
    speeds: tuple[str, str] | None,
    step: str,
    widest: Literal["DINT", "LINT"],
    uncertainty: str | None,
    guard: float,
    as_json: bool,
) -> None:
    """Write what the controller's programmer needs for the rig of FILE.

    A function in Structured Text (IEC 61131-3) with integer arithmetic proved free of
    overflow over the stated range, test vectors in CSV, the proof as text, and a
    commissioning sheet in HTML and PDF.
    """
    from gatesim.api.handover import handover
    from gatesim.scenario import load
    from gatesim.scenario.fitted import fit_warning

    scenario = load(file)
    for warning in fit_warning(scenario.fitted, scenario.part.length.nominal):
        say(warning, error=as_json)
    result = handover(
        scenario,
        formula=formula,
        lengths=lengths,
        speeds=speeds,
        step=step,
        widest=widest,
        uncertainty=uncertainty,
        guard=guard,
    )
    written = result.save(output)
    if as_json:
        say_json({**result.data(), "written": [str(path) for path in written]})
        return
    for path in written:
        say(path)
