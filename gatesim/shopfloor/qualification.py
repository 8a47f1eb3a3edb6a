"""All studies that a log allows, and what follows for accepting and rejecting parts."""

import math
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.ground.data import Keys
from gatesim.ground.errors import InputError
from gatesim.shopfloor.conclusion import Conclusion, conclude, nearest
from gatesim.shopfloor.decision import Limits, Risks, guarded, risks
from gatesim.shopfloor.gaugestudy import GaugeStudies, of_references
from gatesim.shopfloor.log import Log
from gatesim.shopfloor.repeatability import gauge_study
from gatesim.shopfloor.resolution import standard_uncertainty
from gatesim.shopfloor.typeone import Linearity, TypeOne, linearity, type_one
from gatesim.studies.convention import Convention

FEWEST = 10  # indications below which a type-1 study says nothing; common practice, no source


@dataclass(frozen=True)
class Demand:
    """What is asked of the gauge: tolerance limits (m), convention, and guard factor on u.

    ``reference_std`` is the standard uncertainty of the reference lengths, m; ``resolution``
    the step of the indications, m, 0 where it is not known.
    """

    lower: float
    upper: float
    convention: Convention
    guard_factor: float = 2.0
    reference_std: float = 0.0
    resolution: float = 0.0

    @property
    def tolerance(self) -> float:
        """Width of the tolerance interval, m."""
        return self.upper - self.lower


@dataclass(frozen=True)
class Combined:
    """Standard uncertainties in m, combined as in ISO 22514-7 (memory).

    ``scatter`` is the largest of the repeatability on reference parts, that on ordinary
    parts and the resolution, ``bias`` the largest bias at the reference parts that count for
    the tolerance over the square root of three (a rectangular distribution), ``operators``
    reproducibility with interaction, ``reference`` the
    reference lengths. 0 where the log does not show it.
    """

    scatter: float
    bias: float
    operators: float
    reference: float

    KEYS: ClassVar[Keys] = {"*": "*", "std": "combined"}

    @property
    def std(self) -> float:
        """Combined standard uncertainty of an indication."""
        return math.hypot(self.scatter, self.bias, self.operators, self.reference)


@dataclass(frozen=True)
class Qualification:
    """Results of a log; None where the log does not allow a study, with the reason in ``notes``.

    ``lengths`` are the indications in m, shape (n,); ``gauge_rows`` the indices of those in
    the repeatability study. ``capability_ratio`` is Q_MP = 2 U / T with U = 2 u (ISO
    22514-7). ``process`` is mean and standard deviation of the parts, m, None where they are
    reference parts. ``warnings`` is what must be read before anything else.
    """

    log: Log
    lengths: Array
    demand: Demand
    type_one: tuple[TypeOne, ...]
    linearity: Linearity | None
    gauge: GaugeStudies | None
    gauge_rows: NDArray[np.intp]
    combined: Combined
    conclusion: Conclusion
    capability_ratio: float
    limits: Limits
    process: tuple[float, float] | None
    risks: Risks | None
    notes: tuple[str, ...]
    warnings: tuple[str, ...] = ()

    KEYS: ClassVar[Keys] = {
        "log": "log",
        "warnings": "warnings",
        "conclusion": "conclusion",
        "resolution": "resolution",
        "tolerance": "tolerance",
        "type_one": "type_one",
        "linearity": "linearity",
        "gauge": "gauge",
        "combined": "standard_uncertainty",
        "capability_ratio": "capability_ratio",
        "limits": "limits",
        "guard_factor": "guard_factor",
        "process": "process",
        "risks": "risks",
        "notes": "notes",
        "lengths": None,
        "demand": None,
        "gauge_rows": None,
    }

    @property
    def resolution(self) -> float | None:
        """Step of the indications, m; None where it is not known."""
        return self.demand.resolution or None

    @property
    def tolerance(self) -> tuple[float, float]:
        """Limits of the tolerance, m."""
        return self.demand.lower, self.demand.upper

    @property
    def guard_factor(self) -> float:
        """Guard band in standard uncertainties."""
        return self.demand.guard_factor


def qualify(log: Log, lengths: Array, demand: Demand, warnings: tuple[str, ...] = ()) -> Qualification:
    """Run every study that the log allows on the indications ``lengths`` (m, NaN: no reading).

    Raises InputError where it allows none.
    """
    notes: list[str] = []
    unread = [str(line) for line, length in zip(log.lines, lengths, strict=True) if math.isnan(length)]
    if unread:
        notes.append(f"no length in lines {', '.join(unread)}: left out")
    ones = _type_ones(log, lengths, demand, notes)
    line = _line(log, lengths, notes)
    gauge, rows = _gauge(log, lengths, demand, notes)
    if not ones and gauge is None:
        raise InputError(f"{log.path}: no study can be made: {'; '.join(notes)}")
    plain = Limits(demand.lower, demand.upper, demand.lower, demand.upper)
    combined = _combine(nearest(ones, plain), gauge, demand)
    limits = guarded(demand.lower, demand.upper, combined.std, demand.guard_factor)
    process = None
    if gauge is not None and gauge.production:
        process = (float(np.mean(lengths[rows])), gauge.chosen.components["part"].std)
    risk = None
    if process is not None and process[1] > 0.0 and combined.std > 0.0:
        risk = risks(*process, combined.std, limits)
    else:
        notes.append("no global risks: the spread of the parts is not known from this log")
    ratio = 4.0 * combined.std / demand.tolerance
    return Qualification(
        log=log,
        lengths=lengths,
        demand=demand,
        type_one=ones,
        linearity=line,
        gauge=gauge,
        gauge_rows=rows,
        combined=combined,
        conclusion=conclude(limits, demand.resolution, nearest(ones, plain), gauge, ratio),
        capability_ratio=ratio,
        limits=limits,
        process=process,
        risks=risk,
        notes=tuple(notes),
        warnings=warnings,
    )


def _referenced(log: Log, lengths: Array) -> NDArray[np.bool_]:
    reference = log.numbers.get("reference", np.full(len(log), np.nan))
    return np.isfinite(reference) & np.isfinite(lengths)


def _type_ones(log: Log, lengths: Array, demand: Demand, notes: list[str]) -> tuple[TypeOne, ...]:
    rows = _referenced(log, lengths)
    if not rows.any():
        notes.append("no type-1 study: no row has a reference length")
        return ()
    found = []
    for length in np.unique(log.numbers["reference"][rows]):
        own = rows & (log.numbers["reference"] == length)
        n, at = int(own.sum()), f"{1e3 * length:.6g} mm"
        if n < FEWEST:
            notes.append(f"no type-1 study at {at}: {n} indications, expected at least {FEWEST}")
            continue
        one = type_one(lengths[own], float(length), demand.tolerance, demand.convention, demand.resolution)
        found.append(one)
    return tuple(found)


def _line(log: Log, lengths: Array, notes: list[str]) -> Linearity | None:
    rows = _referenced(log, lengths)
    try:
        return linearity(lengths[rows], log.numbers["reference"][rows]) if rows.any() else None
    except ValueError as reason:
        notes.append(f"no linearity study: {reason}")
        return None


def _gauge(
    log: Log, lengths: Array, demand: Demand, notes: list[str]
) -> tuple[GaugeStudies | None, NDArray[np.intp]]:
    """Study the rows that name a part; reference parts stay out unless there are no others."""
    nothing = np.zeros(0, dtype=np.intp)
    if "part" not in log:
        notes.append("no repeatability study: no column 'part'")
        return None, nothing
    named = np.array([bool(p) for p in log.labels["part"]]) & np.isfinite(lengths)
    ordinary = named & ~_referenced(log, lengths)
    rows = np.flatnonzero(ordinary if ordinary.any() else named)
    parts = [log.labels["part"][k] for k in rows]
    operators = [log.labels["operator"][k] if "operator" in log else "" for k in rows]
    try:
        study = gauge_study(lengths[rows], parts, operators, demand.tolerance, demand.resolution)
    except ValueError as reason:
        notes.append(f"no repeatability study: {reason}")
        return None, nothing
    if study.left_out:
        lines = ", ".join(str(log.lines[rows[k]]) for k in study.left_out)
        notes.append(f"left out of the repeatability study to balance it: lines {lines}")
    if not ordinary.any():
        notes.append(
            "reference parts are no sample of production: their spread says nothing of the share that "
            "conforms, nor of categories"
        )
        study = of_references(study)
    return study, rows


def _combine(ones: tuple[TypeOne, ...], gauge: GaugeStudies | None, demand: Demand) -> Combined:
    """``ones`` are the studies that count for the tolerance."""
    scatter = [standard_uncertainty(demand.resolution), *(one.std for one in ones)]
    operators = 0.0
    if gauge is not None:
        components = gauge.chosen.components
        scatter.append(components["repeatability"].std)
        operators = components["reproducibility"].std if "reproducibility" in components else 0.0
    bias = max((abs(one.bias) for one in ones), default=0.0)
    return Combined(max(scatter), bias / math.sqrt(3.0), operators, demand.reference_std)
