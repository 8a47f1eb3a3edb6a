"""``gatesim qualify``."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from gatesim.commands.output import say, say_json
from gatesim.ground.errors import InputError
from gatesim.ground.quantity import parse
from gatesim.scenario import load

if TYPE_CHECKING:
    from gatesim.ground.arrays import Array
    from gatesim.shopfloor.log import Log


def length_of(text: str, option: str) -> float:
    """Length in m from an option's text; InputError names the option."""
    try:
        return parse(text, "m")[0]
    except ValueError as reason:
        raise InputError(
            f'{option}: given {text!r} ({reason}), expected a length such as "179.5 mm"'
        ) from None


@click.command("qualify")
@click.argument("log", type=click.Path(path_type=Path))
@click.option("--lower", default=None, metavar="LENGTH", help='Lower tolerance limit, such as "179.5 mm".')
@click.option("--upper", default=None, metavar="LENGTH", help='Upper tolerance limit, such as "180.5 mm".')
@click.option(
    "--rig",
    type=click.Path(path_type=Path),
    default=None,
    help="Scenario whose formula turns logged counts into lengths, and whose limits hold if none are given.",
)
@click.option("--formula", default=None, help="Formula of the rig; left out: the one in charge.")
@click.option(
    "--convention",
    type=click.Choice(["iso", "msa"]),
    default="iso",
    show_default=True,
    help="C_g with a gauge spread of 4 s (ISO 22514-7) or of 6 s (MSA manual).",
)
@click.option(
    "--guard",
    type=click.FloatRange(0.0, 10.0),
    default=2.0,
    show_default=True,
    help="Guard band in standard uncertainties.",
)
@click.option(
    "--reference-uncertainty",
    default="0 mm",
    show_default=True,
    metavar="LENGTH",
    help="Standard uncertainty of the reference lengths.",
)
@click.option(
    "--column",
    multiple=True,
    metavar="HEADER=NAME",
    help='Rename a column of the log, such as "L measured=length [mm]".',
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON, in m.")
@click.option(
    "--figure", type=click.Path(path_type=Path), help="Draw all studies to this file (png, svg, pdf)."
)
def command(
    log: Path,
    lower: str | None,
    upper: str | None,
    rig: Path | None,
    formula: str | None,
    convention: str,
    guard: float,
    reference_uncertainty: str,
    column: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
) -> None:
    """Qualify the gauge from a LOG of its readings.

    The log is a CSV file, one row a passage: "length [mm]" (or, with --rig, the counts
    "dwell [1]", "capture [1]", ...) and, where known, "reference [mm]" (true length of a
    reference part), "part" and "operator". Type-1 and linearity studies use the rows with a
    reference length, the repeatability study those that name a part.
    """
    from gatesim.shopfloor.qualification import Demand, qualify
    from gatesim.shopfloor.typeone import CONVENTIONS
    from gatesim.view.style import check_figure, save

    check_figure(figure)
    low, high = _limits(lower, upper, rig)
    std = length_of(reference_uncertainty, "--reference-uncertainty")
    if std < 0.0:
        raise InputError(f"--reference-uncertainty: given {reference_uncertainty!r}, expected 0 or more")
    found, lengths = _read(log, rig, formula, dict(renamed(pair) for pair in column))
    demand = Demand(low, high, CONVENTIONS[convention], guard, std)
    result = qualify(found, lengths, demand)
    if figure is not None:
        from gatesim.view.qualifychart import qualification_figure

        save(qualification_figure(result).axes[0], figure)
    if as_json:
        from gatesim.shopfloor.qualifyexport import qualification_json

        say_json(qualification_json(result))
    else:
        from gatesim.view.qualifytext import qualification_text

        say(qualification_text(result))


def _limits(lower: str | None, upper: str | None, rig: Path | None) -> tuple[float, float]:
    """Tolerance limits in m, from the options or else from the rig's requirement."""
    found = {}
    for key, text in (("lower", lower), ("upper", upper)):
        if text is not None:
            found[key] = length_of(text, f"--{key}")
        elif rig is not None and (limit := getattr(load(rig).requirement, f"{key}_limit")) is not None:
            found[key] = limit.nominal
        else:
            raise InputError(f'--{key}: given nothing, expected a tolerance limit such as "180 mm"')
    if found["lower"] >= found["upper"]:
        raise InputError(
            f"--lower: given {1e3 * found['lower']:g} mm, expected a length below the upper limit, "
            f"{1e3 * found['upper']:g} mm"
        )
    return found["lower"], found["upper"]


def _read(log: Path, rig: Path | None, formula: str | None, mapping: dict[str, str]) -> "tuple[Log, Array]":
    """The log and its lengths in m."""
    from gatesim.shopfloor.log import read_log

    if rig is None:
        if formula is not None:
            raise InputError("--formula: given without --rig, expected the scenario that has its constants")
        found = read_log(log, need=("length",), mapping=mapping)
        return found, found.numbers["length"]
    from gatesim.formula import FORMULAS
    from gatesim.shopfloor.reading import formula_in_charge, lengths_from_counts

    scenario = load(rig)
    name = formula_in_charge(scenario, formula)
    found = read_log(log, need=FORMULAS[name].registers, mapping=mapping)
    return found, lengths_from_counts(found, scenario, name)


def renamed(pair: str) -> tuple[str, str]:
    """Header and column name of a ``--column`` option. Raises InputError."""
    header, equals, name = pair.rpartition("=")
    if not equals:
        raise InputError(f'--column: given {pair!r}, expected HEADER=NAME such as "L=length [mm]"')
    return header, name
