"""What a study of repeatability and reproducibility finds, however it is analysed."""

import math
from dataclasses import dataclass, replace
from typing import ClassVar

from gatesim.ground.data import Keys

POOL_ABOVE = 0.05  # AIAG: an interaction not significant at 5 % is pooled with repeatability
STUDY_SPREAD = 6.0  # a component's spread is 6 s, as in the manual's 4th edition
NDC_FACTOR = 1.41  # the manual's rounding of the square root of two


@dataclass(frozen=True)
class AnovaRow:
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
    the tolerance, NaN without one; the former NaN where the parts are no sample of production).
    ``estimate`` is the raw variance, before a negative one is set to zero.
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
    of distinct categories before it is cut to an integer, NaN where there is no telling. The
    intervals of the gauge's share of the total and of the categories are generalised ones
    (Hamada and Weerahandi, J. Qual. Technol. 32 (2000) 241); the components' are modified
    large-sample ones.
    """

    parts: int
    operators: int
    trials: int
    readings: int
    table: tuple[AnovaRow, ...]
    components: dict[str, Component]
    categories: float
    categories_interval: tuple[float, float]
    gauge_share_interval: tuple[float, float]


@dataclass(frozen=True)
class GaugeStudies:
    """Both models, and which of them the pooling rule picks.

    ``with_interaction`` is None where there is one operator. ``left_out`` holds the
    indices of indications left out to balance the study; where it is not ``balanced`` it was
    analysed as it is (see `gatesim.shopfloor.unbalanced`). Without ``production`` the parts are
    reference parts, whose spread says nothing.
    """

    with_interaction: GaugeStudy | None
    without_interaction: GaugeStudy
    interaction_p: float
    left_out: tuple[int, ...]
    balanced: bool = True
    production: bool = True

    KEYS: ClassVar[Keys] = {
        "rule": "pooling_rule",
        "with_interaction": "with_interaction",
        "without_interaction": "without_interaction",
        "balanced": "balanced",
        "production": "parts_are_production",
        "chosen_name": "chosen",
        "interaction_p": None,
        "left_out": None,
    }

    @property
    def chosen(self) -> GaugeStudy:
        """With the interaction where it is significant, without it otherwise."""
        if self.with_interaction is not None and self.interaction_p <= POOL_ABOVE:
            return self.with_interaction
        return self.without_interaction

    @property
    def chosen_name(self) -> str:
        """Which of the two is chosen."""
        return "with_interaction" if self.chosen is self.with_interaction else "without_interaction"

    @property
    def rule(self) -> str:
        """The pooling rule, and what it said here."""
        if self.with_interaction is None:
            return "one operator: parts and repeatability only"
        said = "kept" if self.chosen is self.with_interaction else "pooled with repeatability"
        return f"interaction {said}: p = {self.interaction_p:.3g}, pooled above {POOL_ABOVE:g}"


def of_references(found: GaugeStudies) -> GaugeStudies:
    """The same of reference parts: what their spread would say of production is taken out."""

    def summary_only(study: GaugeStudy) -> GaugeStudy:
        kept = {
            name: replace(c, of_total=math.nan)
            for name, c in study.components.items()
            if name not in ("part", "total")
        }
        nothing = (math.nan, math.nan)
        return replace(
            study,
            components=kept,
            categories=math.nan,
            categories_interval=nothing,
            gauge_share_interval=nothing,
        )

    with_it = found.with_interaction
    return replace(
        found,
        with_interaction=summary_only(with_it) if with_it is not None else None,
        without_interaction=summary_only(found.without_interaction),
        production=False,
    )


def without_negatives(raw: dict[str, float], floor: float) -> dict[str, float]:
    """A negative estimate is taken as zero, and the sums are made of what remains.

    Repeatability is no less than ``floor``, the standard uncertainty of the resolution: the
    larger of the two enters (ISO 22514-7, from memory).
    """
    v = {k: max(x, 0.0) for k, x in raw.items()}
    v["repeatability"] = max(v["repeatability"], floor**2)
    spread = v.get("operator", 0.0) + v.get("interaction", 0.0)
    v |= {"reproducibility": spread} if "reproducibility" in v else {}
    v["gauge"] = spread + v["repeatability"]
    v["total"] = v["gauge"] + v["part"]
    return v


def component(
    name: str,
    limits: tuple[float, float],
    variance: dict[str, float],
    raw: float,
    tolerance: float,
    floor: float,
) -> Component:
    """A component from its variance, the ``raw`` one and ``limits`` of it (both before any floor)."""
    least = floor if name in ("repeatability", "gauge", "total") else 0.0
    low, high = (max(math.sqrt(v), least) for v in limits)
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


def categories_of(variance: dict[str, float]) -> float:
    """Distinct categories; NaN where neither scatter nor resolution of the gauge is known."""
    gauge = variance["gauge"]
    return NDC_FACTOR * math.sqrt(variance["part"] / gauge) if gauge else math.nan
