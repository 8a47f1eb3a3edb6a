"""Gauge repeatability and reproducibility by analysis of variance.

Crossed random model: indication = mean + part + operator + interaction + repeatability.
Estimators as in AIAG, Measurement Systems Analysis, 4th ed. (2010), and Burdick, Borror
and Montgomery, J. Qual. Technol. 35 (2003) 342. With a single operator (an automatic
gauge) parts and repeatability remain.
"""

import math
from collections.abc import Sequence

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.anova import balance, crossed, pooled, study_of, sums_of_squares
from gatesim.shopfloor.gaugestudy import GaugeStudies, GaugeStudy, categories_of, component, without_negatives
from gatesim.shopfloor.unbalanced import Estimate, best, edge_p, satterthwaite

MOST_LEFT_OUT = 0.05  # of the indications; common practice, no source
LEAST_REPEATS = 2


def gauge_study(
    indications: Array,
    parts: Sequence[str],
    operators: Sequence[str],
    tolerance: float = math.nan,
    resolution: float = 0.0,
) -> GaugeStudies:
    """Analyse a crossed study; ``indications`` has shape (n,), with the label of each.

    ``tolerance`` is the width of the tolerance interval, ``resolution`` the step of the
    indications, both in their unit. Where pairs are missing, or balancing would cost more than
    `MOST_LEFT_OUT` of the indications, all of them are analysed by restricted maximum
    likelihood. Raises ValueError where the study is not crossed at all.
    """
    floor = resolution / math.sqrt(12.0)
    try:
        index, left_out = balance(parts, operators)
    except ValueError as reason:
        return _unbalanced(indications, parts, operators, tolerance, floor, str(reason))
    if len(left_out) > MOST_LEFT_OUT * len(parts):
        return _unbalanced(indications, parts, operators, tolerance, floor, "unequal numbers of readings")
    y = indications[np.array(index)]
    table = sums_of_squares(y)
    without = study_of(y.shape, pooled(table), tolerance, floor)
    if y.shape[1] == 1:
        return GaugeStudies(None, without, math.nan, tuple(left_out))
    rows = crossed(table)
    return GaugeStudies(study_of(y.shape, rows, tolerance, floor), without, rows[2].p, tuple(left_out))


def _unbalanced(
    indications: Array,
    parts: Sequence[str],
    operators: Sequence[str],
    tolerance: float,
    floor: float,
    reason: str,
) -> GaugeStudies:
    """Both models by restricted maximum likelihood. Raises ValueError with ``reason`` where that fails."""
    counts: dict[tuple[str, str], int] = {}
    for key in zip(parts, operators, strict=True):
        counts[key] = counts.get(key, 0) + 1
    if len(set(parts)) < 2 or len(parts) - len(counts) < LEAST_REPEATS or not _connected(list(counts)):
        raise ValueError(reason)
    factors: dict[str, Sequence[object]] = {"part": parts}
    if len(set(operators)) > 1:
        factors["operator"] = operators
    trials = max(counts.values())
    shape = (len(set(parts)), len(set(operators)), trials)
    fewer = best(indications, factors)
    without = _by_likelihood(fewer, shape, len(parts), tolerance, floor)
    if "operator" not in factors:
        return GaugeStudies(None, without, math.nan, (), balanced=False)
    interaction = list(zip(parts, operators, strict=True))
    more = best(indications, {**factors, "interaction": interaction}, fewer)
    with_it = _by_likelihood(more, shape, len(parts), tolerance, floor)
    return GaugeStudies(with_it, without, edge_p(more, fewer), (), balanced=False)


def _connected(pairs: list[tuple[str, str]]) -> bool:
    """Whether parts and operators hang together, so that neither can stand for the other."""
    reached, rest = {pairs[0][0]}, pairs
    operators: set[str] = set()
    while True:
        operators |= {o for p, o in rest if p in reached}
        wider = reached | {p for p, o in rest if o in operators}
        if wider == reached:
            return reached == {p for p, _ in pairs} and operators == {o for _, o in pairs}
        reached = wider


def _by_likelihood(
    found: Estimate, shape: tuple[int, int, int], readings: int, tolerance: float, floor: float
) -> GaugeStudy:
    names = list(found.variances)
    spread = [name for name in ("operator", "interaction") if name in names]
    sums = {name: [name] for name in names} | ({"reproducibility": spread} if spread else {})
    sums["gauge"] = [*spread, "repeatability"]
    sums["total"] = [*sums["gauge"], "part"]
    raw = {name: sum(found.variances[n] for n in of) for name, of in sums.items()}
    variance = without_negatives(raw, floor)
    limits = {}
    for name, of in sums.items():
        pick = [names.index(n) for n in of]
        limits[name] = satterthwaite(raw[name], float(found.covariance[np.ix_(pick, pick)].sum()))
    components = {n: component(n, limits[n], variance, raw[n], tolerance, floor) for n in sums}
    nothing = (math.nan, math.nan)
    return GaugeStudy(*shape, readings, (), components, categories_of(variance), nothing, nothing)
