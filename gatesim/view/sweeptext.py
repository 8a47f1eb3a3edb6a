"""A sweep as text for a terminal."""

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
from tabulate import tabulate

from gatesim.ground.outcome import Outcome
from gatesim.studies.sweep import SweepResult, SweptQuantity
from gatesim.view.lengthunit import LengthUnit, restated, unit_of
from gatesim.view.number import at_places, common_places, decimals_for, fixed, percent, plain

Cell = tuple[int, ...]


def sweep_text(result: SweepResult, formula: str, show: str, unit: LengthUnit | None = None) -> str:
    """One row a point: the axes, then the figure shown and its band.

    Lengths of the axes are in the unit that they were given in, unless one is asked for.
    """
    table, shown = result.formulas.get(formula, {}), unit or unit_of(None)
    head = [_axis_name(a, unit) for a in result.axes]
    head += {
        "bias": [f"bias / {shown.name}", f"{100.0 * result.plan.coverage:g} % from", "to"],
        "uncertainty": [f"std unc. / {shown.name}"],
        "yield": ["yield", "95 % conf. from", "to"],
    }[show]
    columns = _figures(result, formula, show, shown)
    sides = [_axis_column(a, unit) for a in result.axes]
    rows = [
        [column[i] for column, i in zip(sides, cell, strict=True)] + figures
        for cell, figures in zip(_cells(result), columns, strict=True)
    ]
    title = f"{show.capitalize()} of {formula}, "
    title += f"{result.plan.trials:,} trials a point, seed {result.plan.seed}"
    if result.interrupted:
        title += ": interrupted, - marks points not reached"
    lengths = table.get("worst_length", np.full(1, np.nan))
    if np.isfinite(lengths).any():
        head.append(f"worst length / {shown.name}")
        for row, cell in zip(rows, _cells(result), strict=True):
            row += [""] * (len(head) - 1 - len(row)) + [shown.plain(float(lengths[cell]), 6)]
    return "\n".join([title, tabulate(rows, head, disable_numparse=True, stralign="right")])


def _axis_name(axis: SweptQuantity, unit: LengthUnit | None) -> str:
    name, _ = restated(axis.unit, unit)
    return f"{axis.path} / {name}" if name else axis.path


def _axis_column(axis: SweptQuantity, unit: LengthUnit | None) -> list[str]:
    """Its values, evenly spaced ones with one number of decimals."""
    values = restated(axis.unit, unit)[1] * axis.values
    if axis.logarithmic:
        return [plain(float(value), 5) for value in values]
    places = min(decimals_for(abs(float(values[-1] - values[0])) / (values.size - 1), 3), 6)
    places = next((p for p in range(places) if np.allclose(values, np.round(values, p), rtol=1e-9)), places)
    return [fixed(float(value), places) for value in values]


def no_reading(outcome: str) -> str:
    """Why a point of a sweep has no reading, from its most frequent outcome."""
    whys = {Outcome.MEASURED.word: "by this formula", Outcome.NO_READING.word: "by the formula"}
    return f"no reading{f' {whys[outcome]}' if outcome in whys else f': {outcome}'}"


def _cells(result: SweepResult) -> list[Cell]:
    return list(product(*(range(a.values.size) for a in result.axes)))


def _figures(result: SweepResult, formula: str, show: str, unit: LengthUnit) -> Sequence[list[str]]:
    """The cells of every point behind its axes; a column has one number of decimals."""
    table, cells = result.formulas.get(formula, {}), _cells(result)
    if not table or show == "yield":
        columns = ("yield", "yield_low", "yield_high")
        return [
            [percent(float(table[c][cell])) for c in columns] if table and result.outcome[cell] else ["-"]
            for cell in cells
        ]
    errors = [float(table[f"{show}_error"][cell]) for cell in cells]
    # readings on a lattice of counts may show no error: a twentieth of u then
    coarse = [0.05 * float(table["uncertainty"][cell]) for cell in cells]
    likely = [e if e > 0.0 else c for e, c in zip(errors, coarse, strict=True)]
    places = common_places(unit.per_metre * e for e in likely)
    found = []
    for cell, error in zip(cells, errors, strict=True):
        outcome = str(result.outcome[cell])
        if not outcome:
            found.append(["-"])
        elif math.isnan(table["bias"][cell]):
            found.append([f"- {no_reading(outcome)}"])
        else:
            value = float(table[show][cell])
            ends = ("low", "high") if show == "bias" else ()
            found.append(
                [at_places(unit.per_metre * value, unit.per_metre * error, places)]
                + [f"{unit.per_metre * float(table[end][cell]):.{places}f}" for end in ends]
            )
    return found
