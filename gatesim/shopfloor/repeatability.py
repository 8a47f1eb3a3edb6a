"""Gauge repeatability and reproducibility by analysis of variance.

Crossed random model: indication = mean + part + operator + interaction + repeatability.
Estimators as in AIAG, Measurement Systems Analysis, 4th ed. (2010), and Burdick, Borror
and Montgomery, J. Qual. Technol. 35 (2003) 342. With a single operator (an automatic
gauge) parts and repeatability remain.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.interval import MeanSquare, modified_large_sample

POOL_ABOVE = 0.05  # AIAG: an interaction not significant at 5 % is pooled with repeatability
STUDY_SPREAD = 6.0  # a component's spread is 6 s, as in the manual's 4th edition
NDC_FACTOR = 1.41  # the manual's rounding of the square root of two


@dataclass(frozen=True)
class Row:
    """One line of the analysis of variance; F and p are NaN where there is no test."""

    source: str
    freedom: int
    squares: float
    mean_square: float
    f: float
    p: float


@dataclass(frozen=True)
class Component:
    """Standard deviation of one source of variation, with 95 % limits.

    ``of_total`` and ``of_tolerance`` are ratios of standard deviations (the latter 6 s over
    the tolerance, NaN without one). ``estimate`` is the raw variance, before a negative
    one is set to zero.
    """

    name: str
    std: float
    std_interval: tuple[float, float]
    of_total: float
    of_tolerance: float
    of_tolerance_interval: tuple[float, float]
    estimate: float


@dataclass(frozen=True)
class GaugeStudy:
    """Analysis of variance and components of one model, with or without interaction.

    ``components`` is keyed "repeatability", "operator", "interaction", "reproducibility",
    "gauge", "part", "total"; those a model lacks are absent. ``categories`` is the number
    of distinct categories before it is cut to an integer. The intervals of the gauge's
    share of the total and of the categories are generalised ones (Hamada and Weerahandi,
    J. Qual. Technol. 32 (2000) 241); the components' are modified large-sample ones.
    """

    parts: int
    operators: int
    trials: int
    table: tuple[Row, ...]
    components: dict[str, Component]
    categories: float
    categories_interval: tuple[float, float]
    gauge_share_interval: tuple[float, float]


@dataclass(frozen=True)
class GaugeStudies:
    """Both models, and which of them the pooling rule picks.

    ``with_interaction`` is None where there is one operator. ``left_out`` holds the
    indices of indications left out to balance the study.
    """

    with_interaction: GaugeStudy | None
    without_interaction: GaugeStudy
    interaction_p: float
    left_out: tuple[int, ...]

    @property
    def chosen(self) -> GaugeStudy:
        """With the interaction where it is significant, without it otherwise."""
        if self.with_interaction is not None and self.interaction_p <= POOL_ABOVE:
            return self.with_interaction
        return self.without_interaction

    @property
    def rule(self) -> str:
        """The pooling rule, and what it said here."""
        if self.with_interaction is None:
            return "one operator: parts and repeatability only"
        said = "kept" if self.chosen is self.with_interaction else "pooled with repeatability"
        return f"interaction {said}: p = {self.interaction_p:.3g}, pooled above {POOL_ABOVE:g}"


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
                    f"part {part!r} was not measured by operator {operator!r}, expected every pair"
                )
    trials = min(len(cell) for cell in cells.values())
    if trials < 2:
        short = next(key for key, cell in cells.items() if len(cell) < 2)
        raise ValueError(f"part {short[0]!r}, operator {short[1]!r}: one indication, expected at least 2")
    kept = [[cells[p, o][:trials] for o in operator_names] for p in part_names]
    return kept, sorted(i for cell in cells.values() for i in cell[trials:])


def gauge_study(
    indications: Array, parts: Sequence[str], operators: Sequence[str], tolerance: float = math.nan
) -> GaugeStudies:
    """Analyse a crossed study; ``indications`` has shape (n,), with the label of each.

    ``tolerance`` is the width of the tolerance interval, in the unit of the indications.
    Raises ValueError where the study is not crossed (see `balance`).
    """
    index, left_out = balance(parts, operators)
    y = indications[np.array(index)]
    table = _anova(y)
    without = _pooled(table)
    if y.shape[1] == 1:
        return GaugeStudies(None, _study(y.shape, without, tolerance), math.nan, tuple(left_out))
    crossed = _crossed(table)
    return GaugeStudies(
        _study(y.shape, crossed, tolerance),
        _study(y.shape, without, tolerance),
        crossed[2].p,
        tuple(left_out),
    )


def _anova(y: Array) -> dict[str, tuple[int, float]]:
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


def _row(source: str, freedom: int, squares: float, against: tuple[int, float] | None) -> Row:
    from scipy import stats

    mean = squares / freedom if freedom else math.nan
    if against is None or not against[1]:
        return Row(source, freedom, squares, mean, math.nan, math.nan)
    f = mean / (against[1] / against[0])
    return Row(source, freedom, squares, mean, f, float(stats.f.sf(f, freedom, against[0])))


def _crossed(table: dict[str, tuple[int, float]]) -> tuple[Row, ...]:
    inter, repeat = table["interaction"], table["repeatability"]
    return (
        _row("part", *table["part"], inter),
        _row("operator", *table["operator"], inter),
        _row("interaction", *inter, repeat),
        _row("repeatability", *repeat, None),
    )


def _pooled(table: dict[str, tuple[int, float]]) -> tuple[Row, ...]:
    parts = [table[k] for k in ("interaction", "repeatability") if k in table]
    pooled = (sum(n for n, _ in parts), sum(s for _, s in parts))
    rows = [_row(k, *table[k], pooled) for k in ("part", "operator") if k in table]
    return (*rows, _row("repeatability", *pooled, None))


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


def _study(shape: tuple[int, ...], rows: tuple[Row, ...], tolerance: float) -> GaugeStudy:
    squares = {row.source: MeanSquare(row.mean_square, row.freedom) for row in rows}
    contrasts = _contrasts(shape, list(squares))
    raw = {k: float(sum(w * squares[s].value for s, w in c.items())) for k, c in contrasts.items()}
    variance = _without_negatives(raw)
    components = {
        name: _component(name, contrasts[name], squares, variance, raw[name], tolerance) for name in contrasts
    }
    share, categories = _ratios(contrasts, squares)
    gauge, part = math.sqrt(variance["gauge"]), math.sqrt(variance["part"])
    return GaugeStudy(
        parts=shape[0],
        operators=shape[1],
        trials=shape[2],
        table=rows,
        components=components,
        categories=NDC_FACTOR * part / gauge if gauge else math.inf,
        categories_interval=categories,
        gauge_share_interval=share,
    )


def _without_negatives(raw: dict[str, float]) -> dict[str, float]:
    """A negative estimate is taken as zero, and the sums are made of what remains."""
    v = {k: max(x, 0.0) for k, x in raw.items()}
    spread = v.get("operator", 0.0) + v.get("interaction", 0.0)
    v |= {"reproducibility": spread} if "reproducibility" in v else {}
    v["gauge"] = spread + v["repeatability"]
    v["total"] = v["gauge"] + v["part"]
    return v


def _component(
    name: str,
    contrast: dict[str, float],
    squares: dict[str, MeanSquare],
    variance: dict[str, float],
    raw: float,
    tolerance: float,
) -> Component:
    terms = [(k, squares[source]) for source, k in contrast.items() if k and squares[source].freedom]
    low, high = (math.sqrt(float(v)) for v in modified_large_sample(terms))
    std = math.sqrt(variance[name])
    total = math.sqrt(variance["total"])
    spread = STUDY_SPREAD / tolerance
    return Component(
        name=name,
        std=std,
        std_interval=(low, high),
        of_total=std / total if total else math.nan,
        of_tolerance=std * spread,
        of_tolerance_interval=(low * spread, high * spread),
        estimate=raw,
    )


def _ratios(
    contrasts: dict[str, dict[str, float]], squares: dict[str, MeanSquare]
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
    with np.errstate(divide="ignore", invalid="ignore"):  # no scatter at all: ratios are NaN or inf
        share = np.quantile(np.sqrt(gauge / (gauge + part)), [0.025, 0.975])
        categories = np.quantile(NDC_FACTOR * np.sqrt(part / gauge), [0.025, 0.975])
    return (float(share[0]), float(share[1])), (float(categories[0]), float(categories[1]))
