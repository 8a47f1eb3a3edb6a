"""``gatesim qualify``."""

import json
from pathlib import Path

import click

from gatesim.problem import InputError
from gatesim.quantity import parse


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
@click.option("--lower", required=True, metavar="LENGTH", help='Lower tolerance limit, such as "179.5 mm".')
@click.option("--upper", required=True, metavar="LENGTH", help='Upper tolerance limit, such as "180.5 mm".')
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
    lower: str,
    upper: str,
    convention: str,
    guard: float,
    reference_uncertainty: str,
    column: tuple[str, ...],
    as_json: bool,
    figure: Path | None,
) -> None:
    """Qualify the gauge from a LOG of its readings.

    The log is a CSV file, one row a passage: "length [mm]" and, where known, "reference [mm]"
    (true length of a reference part), "part" and "operator". Type-1 and linearity studies
    use the rows with a reference length, the repeatability study those that name a part.
    """
    from gatesim.shopfloor.log import read_log
    from gatesim.shopfloor.qualification import Demand, qualify
    from gatesim.shopfloor.typeone import CONVENTIONS

    low, high = length_of(lower, "--lower"), length_of(upper, "--upper")
    if low >= high:
        raise InputError(f"--lower: given {lower!r}, expected a length below --upper, {upper}")
    std = length_of(reference_uncertainty, "--reference-uncertainty")
    if std < 0.0:
        raise InputError(f"--reference-uncertainty: given {reference_uncertainty!r}, expected 0 or more")
    found = read_log(log, need=("length",), mapping=dict(_renamed(pair) for pair in column))
    demand = Demand(low, high, CONVENTIONS[convention], guard, std)
    result = qualify(found, found.numbers["length"], demand)
    if figure is not None:
        from gatesim.view.qualifychart import qualification_figure
        from gatesim.view.style import save

        save(qualification_figure(result).axes[0], figure)
    if as_json:
        from gatesim.shopfloor.qualifyexport import qualification_json

        click.echo(json.dumps(qualification_json(result), indent=2, ensure_ascii=False))
    else:
        from gatesim.view.qualifytext import qualification_text

        click.echo(qualification_text(result))


def _renamed(pair: str) -> tuple[str, str]:
    header, equals, name = pair.rpartition("=")
    if not equals:
        raise InputError(f'--column: given {pair!r}, expected HEADER=NAME such as "L=length [mm]"')
    return header, name
