"""Table of quantities that are known together, and the correlation that a fit found."""

import math
from collections.abc import Mapping
from typing import Annotated

from pydantic import Field

from gatesim.ground.correlation import Correlation
from gatesim.ground.quantity import Quantity
from gatesim.ground.table import Misfit, Table
from gatesim.scenario.fitted import FittedTable, names_of

Coefficient = Annotated[float, Field(ge=-1.0, le=1.0, allow_inf_nan=False)]


class CorrelationTable(Table):
    """Quantities whose values go together (JCGM 100, 5.2; JCGM 101, 6.4.8): a normal copula."""

    quantities: Annotated[tuple[str, ...], Field(min_length=2)] = Field(
        description="Paths of quantities that have a spread; what is a gate's own as sensor.dark_delay@2."
    )
    coefficients: tuple[Coefficient, ...] | None = Field(
        default=None,
        description="Correlation coefficient of every pair: 1 and 2, 1 and 3, ..., 2 and 3, ...",
    )
    matrix: tuple[tuple[Coefficient, ...], ...] | None = Field(
        default=None, description="Or the whole correlation matrix."
    )


def correlation_of(table: CorrelationTable, key: str, inputs: Mapping[str, Quantity]) -> Correlation:
    """The correlation that a table states. Raises Misfit."""
    names = table.quantities
    spread = [name for name, q in inputs.items() if q.spread is not None]
    for name in names:
        if name not in spread:
            known = f"one of {', '.join(spread)}" if spread else "a quantity with a spread"
            raise Misfit(f"{key}.quantities", repr(name), f"a quantity that has a spread, {known}")
    if len(set(names)) < len(names):
        raise Misfit(f"{key}.quantities", "a quantity twice", "each once")
    for name in names[1:]:
        mine, first = inputs[name].per, inputs[names[0]].per
        if mine != first:
            expected = f'the same per for both; write per = "{first}" or "{mine}" in their tables'
            raise Misfit(key, f"{names[0]} drawn per {first} and {name} per {mine}", expected)
    found = Correlation(names, _matrix(table, key))
    pair = found.contradiction
    if pair is not None:
        said = f"{found.coefficient(*pair):g} for {pair[0]} and {pair[1]}"
        rest = "" if len(names) == 2 else ", which the other coefficients rule out"
        raise Misfit(key, f"{said}{rest}", "a positive definite correlation matrix")
    return found


def _matrix(table: CorrelationTable, key: str) -> tuple[tuple[float, ...], ...]:
    size = len(table.quantities)
    pairs = [(i, j) for i in range(size) for j in range(i + 1, size)]
    if (table.matrix is None) == (table.coefficients is None):
        said = "neither" if table.matrix is None else "both"
        raise Misfit(key, said, "either coefficients or a matrix")
    if table.coefficients is not None:
        if len(table.coefficients) != len(pairs):
            raise Misfit(
                f"{key}.coefficients", f"{len(table.coefficients)} numbers", f"{len(pairs)}, one a pair"
            )
        of = dict(zip(pairs, table.coefficients, strict=True))
        return tuple(
            tuple(1.0 if i == j else of[min(i, j), max(i, j)] for j in range(size)) for i in range(size)
        )
    matrix = table.matrix or ()
    if len(matrix) != size or any(len(row) != size for row in matrix):
        raise Misfit(f"{key}.matrix", "another shape", f"{size} rows of {size} numbers")
    if any(matrix[i][i] != 1.0 for i in range(size)):
        raise Misfit(f"{key}.matrix", "a diagonal that is not 1", "1 for every quantity with itself")
    for i, j in pairs:
        if matrix[i][j] != matrix[j][i]:
            pair = f"{table.quantities[i]} and {table.quantities[j]}"
            raise Misfit(
                f"{key}.matrix", f"{matrix[i][j]:g} and {matrix[j][i]:g} for {pair}", "the same twice"
            )
    return matrix


def fitted_correlation(fitted: FittedTable, inputs: Mapping[str, Quantity]) -> Correlation | None:
    """That of the quantities which a fit found together, as far as they are still drawn."""
    std = [math.sqrt(row[i]) for i, row in enumerate(fitted.covariance)]
    known = [
        (i, name)
        for i, quantity in enumerate(fitted.quantities)
        for name in names_of(quantity, inputs)
        if std[i] > 0.0 and inputs[name].spread is not None and name not in fitted.varies
    ]
    if len(known) < 2:
        return None
    matrix = tuple(
        tuple(1.0 if i == j else fitted.covariance[i][j] / (std[i] * std[j]) for j, _ in known)
        for i, _ in known
    )
    return Correlation(tuple(name for _, name in known), matrix)
