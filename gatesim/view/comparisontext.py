"""Set-ups side by side as text: a column each, so that six of them fit a terminal."""

import math
from collections.abc import Sequence
from string import ascii_uppercase
from textwrap import fill
from typing import TYPE_CHECKING

from tabulate import tabulate

from gatesim.view.lengthunit import MM, LengthUnit
from gatesim.view.number import decimals_for, percent, plain

if TYPE_CHECKING:
    from gatesim.view.setup import SetUp

WIDTH = 100
COLUMN = 18
MOST_PLACES = 4
"""Of a length in mm."""


def comparison_text(setups: "Sequence[SetUp]", trials: int, seed: int, unit: LengthUnit = MM) -> str:
    """A row a figure, all lengths with as many digits; then why each reads what it reads."""
    places = min(max(decimals_for(1e3 * u) for u in _uncertainties(setups)), MOST_PLACES)
    rows = [
        *_length_rows(setups, unit, places),
        *_other_rows(setups),
    ]
    head = ["", *(f"{letter} {each.name}" for letter, each in zip(ascii_uppercase, setups, strict=False))]
    table = tabulate(
        rows, head, disable_numparse=True, colalign=("left", *["right"] * len(setups)),
        maxheadercolwidths=[None, *[COLUMN] * len(setups)], maxcolwidths=[None, *[COLUMN] * len(setups)],
    )  # fmt: skip
    reasons = [
        fill(f"{letter}. {unit.said(each.explanation)}", WIDTH, subsequent_indent="   ")
        for letter, each in zip(ascii_uppercase, setups, strict=False)
    ]
    how = f"{trials:,} scrambled Sobol points each, seed {seed}; error: reading minus true length"
    return "\n".join([how, "", table, "", *reasons])


def _uncertainties(setups: "Sequence[SetUp]") -> list[float]:
    """Those that tell how many digits mean something; a micrometre where there is none."""
    return [each.uncertainty for each in setups if each.uncertainty > 0.0] or [1e-6]


def _length_rows(setups: "Sequence[SetUp]", unit: LengthUnit, places: int) -> list[list[str]]:
    def fixed(name: str, values: Sequence[float | None]) -> list[str]:
        return [f"{name} / {unit.name}", *(unit.fixed(value, places) for value in values)]

    def signed(name: str, values: Sequence[float | None]) -> list[str]:
        return [f"{name} / {unit.name}", *(unit.signed(value, places) for value in values)]

    rows = [
        ["formula", *(each.formula for each in setups)],
        fixed("true length", [each.true_length for each in setups]),
        fixed("reading of the nominal part", [each.reading for each in setups]),
        signed("its error", [each.error for each in setups]),
        signed("bias, mean error", [each.bias for each in setups]),
        fixed("standard uncertainty u", [each.uncertainty for each in setups]),
        signed("95 % of the errors from", [each.interval[0] for each in setups]),
        signed("to", [each.interval[1] for each in setups]),
    ]
    if any(each.allowed == each.allowed for each in setups):
        rows.append(fixed("allowed error, plus and minus", [each.allowed for each in setups]))
    return rows


def _other_rows(setups: "Sequence[SetUp]") -> list[list[str]]:
    rows = [
        ["speed at gate 1 / (m/s)", *(_speed(each) for each in setups)],
        ["yield: read, nothing went wrong", *(percent(each.yielded) for each in setups)],
    ]
    if any(each.met is not None for each in setups):
        verdict = {True: "yes", False: "no", None: "-"}
        rows += [
            ["read within the allowed error", *(percent(each.within) for each in setups)],
            ["bias and 2 u within it", *(verdict[each.met] for each in setups)],
        ]
    if any(not math.isnan(each.cost) for each in setups):
        rows.append(["cost", *(plain(each.cost, 6) for each in setups)])
    return [*rows, ["nominal part", *(each.outcome for each in setups)]]


def _speed(setup: "SetUp") -> str:
    speed = setup.prediction.crossings[0].front_speed_m_per_s
    return "-" if speed is None else f"{speed:.3f}"
