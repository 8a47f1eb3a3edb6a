"""Analysis of variance of a balanced, crossed gauge study."""

import math
from collections.abc import Sequence

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.gaugestudy import (
    NDC_FACTOR,
    AnovaRow,
    GaugeStudy,
    categories_of,
    component,
    without_negatives,
)
from gatesim.shopfloor.interval import MeanSquare, modified_large_sample


def balance(parts: Sequence[str], operators: Sequence[str]) -> tuple[list[list[list[int]]], list[int]]:
    """Indices of the indications as [part][operator][trial], and those left out.

    Each cell keeps its first indications, as many as the smallest cell has. Raises
    ValueError where a part lacks an operator, or where nothing repeats.
    """
    cells: dict[tuple[str, str], list[int]] = {}
    for index, key in enumerate(zip(parts, operators, strict=True)):
        cells.setdefault(key, []).append(index)
    part_names, operator_names = list(dict.fromkeys(parts)), list(dict.fromkeys(operators))
    if len(part_names) < 2:
        raise ValueError(f"{len(part_names)} part, expected at least 2")
    for part in part_names:
        for operator in operator_names:
            if (part, operator) not in cells:
                raise ValueError(
                    f"part {part!r} was not measured by operator {operator!r}, expected every pair: "
                    "measure it, or leave one of the two out"
                )
    trials = min(len(cell) for cell in cells.values())
    if trials < 2:
        short = next(key for key, cell in cells.items() if len(cell) < 2)
        raise ValueError(f"part {short[0]!r}, operator {short[1]!r}: one indication, expected at least 2")
    kept = [[cells[p, o][:trials] for o in operator_names] for p in part_names]
    return kept, sorted(i for cell in cells.values() for i in cell[trials:])


def sums_of_squares(y: Array) -> dict[str, tuple[int, float]]:
    """Degrees of freedom and sums of squares of a balanced study (parts, operators, trials)."""
    import pandas as pd  # type: ignore[import-untyped]  # comes with statsmodels, whose formulas need it
    from statsmodels.formula.api import ols
    from statsmodels.stats.anova import anova_lm

    part, operator, _ = np.indices(y.shape).reshape(3, -1)
    # Differences from the mean keep the digits of long parts with a small scatter.
    frame = pd.DataFrame({"y": (y - y.mean()).ravel(), "part": part, "operator": operator})
    formula = "y ~ C(part)" if y.shape[1] == 1 else "y ~ C(part) * C(operator)"
    with np.errstate(divide="ignore", invalid="ignore"):  # no scatter at all: F is not used from here
        table = anova_lm(ols(formula, frame).fit())
    names = {"C(part)": "part", "C(operator)": "operator", "C(part):C(operator)": "interaction"}
    return {
        names.get(str(source), "repeatability"): (round(row["df"]), float(row["sum_sq"]))
        for source, row in table.iterrows()
    }


def _row(source: str, freedom: int, squares: float, against: tuple[int, float] | None) -> AnovaRow:
    from scipy import stats

    mean = squares / freedom if freedom else math.nan
    if against is None or not against[1]:
        return AnovaRow(source, freedom, squares, mean, math.nan, math.nan)
    f = mean / (against[1] / against[0])
    return AnovaRow(source, freedom, squares, mean, f, float(stats.f.sf(f, freedom, against[0])))


def crossed(table: dict[str, tuple[int, float]]) -> tuple[AnovaRow, ...]:
    """Lines of the model with interaction: parts and operators are tested against it."""
    inter, repeat = table["interaction"], table["repeatability"]
    return (
        _row("part", *table["part"], inter),
        _row("operator", *table["operator"], inter),
        _row("interaction", *inter, repeat),
        _row("repeatability", *repeat, None),
    )


def pooled(table: dict[str, tuple[int, float]]) -> tuple[AnovaRow, ...]:
    """Lines of the model without interaction, which is pooled with repeatability."""
    parts = [table[k] for k in ("interaction", "repeatability") if k in table]
    error = (sum(n for n, _ in parts), sum(s for _, s in parts))
    rows = [_row(k, *table[k], error) for k in ("part", "operator") if k in table]
    return (*rows, _row("repeatability", *error, None))


def _contrasts(shape: tuple[int, ...], sources: Sequence[str]) -> dict[str, dict[str, float]]:
    """Each variance as a linear combination of mean squares (the expected mean squares solved)."""
    p, o, r = shape
    error = "interaction" if "interaction" in sources else "repeatability"
    c: dict[str, dict[str, float]] = {"repeatability": {"repeatability": 1.0}}
    c["part"] = {"part": 1.0 / (o * r), error: -1.0 / (o * r)}
    if "operator" in sources:
        c["operator"] = {"operator": 1.0 / (p * r), error: -1.0 / (p * r)}
    if error == "interaction":
        c["interaction"] = {"interaction": 1.0 / r, "repeatability": -1.0 / r}
    spread = [c[k] for k in ("operator", "interaction") if k in c]
    if spread:
        c["reproducibility"] = _sum(spread)
    c["gauge"] = _sum([*spread, c["repeatability"]])
    c["total"] = _sum([c["gauge"], c["part"]])
    return c


def _sum(combinations: list[dict[str, float]]) -> dict[str, float]:
    total: dict[str, float] = {}
    for combination in combinations:
        for source, k in combination.items():
            total[source] = total.get(source, 0.0) + k
    return total


def study_of(
    shape: tuple[int, ...], rows: tuple[AnovaRow, ...], tolerance: float, floor: float
) -> GaugeStudy:
    """Components of a balanced study of ``shape`` (parts, operators, trials) from its mean squares.

    ``floor`` is the least standard deviation of repeatability, that of the resolution.
    """
    squares = {row.source: MeanSquare(row.mean_square, row.freedom) for row in rows}
    contrasts = _contrasts(shape, list(squares))
    raw = {k: float(sum(w * squares[s].value for s, w in c.items())) for k, c in contrasts.items()}
    variance = without_negatives(raw, floor)
    components = {}
    for name, contrast in contrasts.items():
        terms = [(k, squares[source]) for source, k in contrast.items() if k and squares[source].freedom]
        low, high = (float(v) for v in modified_large_sample(terms))
        components[name] = component(name, (low, high), variance, raw[name], tolerance, floor)
    share, categories = _ratios(contrasts, squares, floor)
    return GaugeStudy(
        parts=shape[0],
        operators=shape[1],
        trials=shape[2],
        readings=math.prod(shape),
        table=rows,
        components=components,
        categories=categories_of(variance),
        categories_interval=categories,
        gauge_share_interval=share,
    )


def _ratios(
    contrasts: dict[str, dict[str, float]], squares: dict[str, MeanSquare], floor: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Generalised 95 % intervals of gauge/total (of standard deviations) and of the categories.

    The pivot of a mean square is freedom * value / chi-squared; 100 000 draws from a fixed
    stream, so that the same log always gives the same limits.
    """
    rng = np.random.default_rng(20000)
    pivot = {s: m.freedom * m.value / rng.chisquare(m.freedom, 100_000) for s, m in squares.items()}
    gauge, part = (
        np.maximum(sum(k * pivot[s] for s, k in contrasts[name].items()), 0.0) for name in ("gauge", "part")
    )
    gauge = np.maximum(gauge, floor**2)
    if not gauge.any():  # neither scatter nor a resolution: nothing to compare with
        return (math.nan, math.nan), (math.nan, math.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        share = np.quantile(np.sqrt(gauge / (gauge + part)), [0.025, 0.975])
        categories = np.quantile(NDC_FACTOR * np.sqrt(part / gauge), [0.025, 0.975])
    return (float(share[0]), float(share[1])), (float(categories[0]), float(categories[1]))
