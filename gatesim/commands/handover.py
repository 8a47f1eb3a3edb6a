"""``gatesim handover``."""

from datetime import date
from pathlib import Path

import click

from gatesim.commands.output import say
from gatesim.ground.errors import InputError


@click.command("handover")
@click.argument("file", type=click.Path(path_type=Path))
@click.option(
    "-o",
    "--output",
    required=True,
    type=click.Path(path_type=Path),
    help="Directory to write; must not exist.",
)
@click.option("--formula", default=None, help="Formula to hand over; left out: the one in charge.")
@click.option(
    "--lengths", nargs=2, default=None, metavar="LEAST MOST", help='Stated lengths, such as "0.1 m" "0.2 m".'
)
@click.option(
    "--speeds",
    nargs=2,
    default=None,
    metavar="LEAST MOST",
    help="Stated speeds at the gates; left out: simulated.",
)
@click.option("--unit", default="1 um", show_default=True, metavar="LENGTH", help="Unit of the result.")
@click.option(
    "--widest",
    type=click.Choice(["DINT", "LINT"]),
    default="LINT",
    show_default=True,
    help="Widest integer type of the controller.",
)
@click.option(
    "--uncertainty", default=None, metavar="LENGTH", help="Standard uncertainty of a reading, as qualified."
)
@click.option(
    "--guard",
    type=click.FloatRange(0.0, 10.0),
    default=2.0,
    show_default=True,
    help="Guard band in standard uncertainties.",
)
def command(
    file: Path,
    output: Path,
    formula: str | None,
    lengths: tuple[str, str] | None,
    speeds: tuple[str, str] | None,
    unit: str,
    widest: str,
    uncertainty: str | None,
    guard: float,
) -> None:
    """Write what the controller's programmer needs for the rig of FILE.

    A function in Structured Text (IEC 61131-3) with integer arithmetic proved free of
    overflow over the stated range, test vectors in CSV, the proof as text, and a
    commissioning sheet in HTML and PDF.
    """
    from gatesim.formula.integer.program import DINT, LINT
    from gatesim.scenario import load
    from gatesim.scenario.fitted import fit_warning
    from gatesim.shopfloor.handover import Wish, gather
    from gatesim.view.package import write_package

    scenario = load(file)
    wish = Wish(
        formula=_formula(formula),
        lengths=_pair(lengths, "m", "--lengths"),
        speeds=_pair(speeds, "m/s", "--speeds"),
        unit=_one(unit, "m", "--unit"),
        widest=DINT if widest == "DINT" else LINT,
        std=None if uncertainty is None else _one(uncertainty, "m", "--uncertainty"),
        guard_factor=guard,
    )
    for warning in fit_warning(scenario.fitted):
        say(warning)
    found = gather(scenario, wish, date.today())
    for name in write_package(found, output):
        say(output / name)


def _formula(name: str | None) -> str | None:
    from gatesim.formula import FORMULAS

    if name is not None and name not in FORMULAS:
        raise InputError(f"--formula: given {name!r}, expected one of {', '.join(FORMULAS)}")
    return name


def _one(text: str, unit: str, option: str) -> float:
    from gatesim.ground.quantity import parse

    try:
        value = parse(text, unit)[0]
    except ValueError as reason:
        example = "1.5 m/s" if unit == "m/s" else "120 mm"
        raise InputError(f'{option}: given {text!r} ({reason}), expected text such as "{example}"') from None
    if not value > 0.0:
        raise InputError(f"{option}: given {text!r}, expected a value above 0")
    return value


def _pair(texts: tuple[str, str] | None, unit: str, option: str) -> tuple[float, float] | None:
    if texts is None:
        return None
    low, high = (_one(text, unit, option) for text in texts)
    if low >= high:
        raise InputError(f"{option}: given {texts[0]!r} and {texts[1]!r}, expected the lesser value first")
    return low, high
