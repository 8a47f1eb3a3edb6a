"""What follows from all studies of a gauge: accepted, conditionally accepted or not, by which rules."""

from dataclasses import dataclass
from enum import IntEnum
from typing import ClassVar

from gatesim.ground.data import Keys
from gatesim.shopfloor.decision import Limits
from gatesim.shopfloor.gaugestudy import STUDY_SPREAD, GaugeStudies
from gatesim.shopfloor.resolution import SHARE_ALLOWED
from gatesim.shopfloor.typeone import TypeOne

# Limits from memory: of the gauge's spread in the measurement systems analysis manual, of Q_MP in ISO 22514-7
GAUGE_GOOD, GAUGE_USABLE = 0.10, 0.30
PROCESS_LIMIT = 0.30
RECOMMENDED = 25  # ISO 22514-7 and the MSA manual ask for 25 to 50 (memory)


class Verdict(IntEnum):
    """From the best to the worst."""

    ACCEPTED = 0
    CONDITIONAL = 1
    REFUSED = 2

    @property
    def words(self) -> str:
        """As printed."""
        return ("accepted", "conditionally accepted", "not accepted")[self]


@dataclass(frozen=True)
class Check:
    """One rule: what was found, what is asked for and by whom, and what follows."""

    found: str
    rule: str
    verdict: Verdict

    KEYS: ClassVar[Keys] = {"found": "found", "rule": "rule", "words": "verdict", "verdict": None}

    @property
    def words(self) -> str:
        """The verdict in words."""
        return self.verdict.words


@dataclass(frozen=True)
class Conclusion:
    """The worst of all checks; ``use`` says what for."""

    use: str
    checks: tuple[Check, ...]

    KEYS: ClassVar[Keys] = {"words": "verdict", "use": "use", "checks": "checks"}

    @property
    def words(self) -> str:
        """The verdict in words."""
        return self.verdict.words

    @property
    def verdict(self) -> Verdict:
        """Accepted where every check is."""
        return max(check.verdict for check in self.checks)


def conclude(
    limits: Limits,
    resolution: float,
    ones: tuple[TypeOne, ...],
    gauge: GaugeStudies | None,
    capability_ratio: float,
) -> Conclusion:
    """Judge a gauge for accepting and rejecting parts by ``limits`` (m).

    ``ones`` are the type-1 studies at the lengths that count for this use (see `nearest`).
    """
    use = f"accepting and rejecting parts of {_mm(limits.lower)} to {_mm(limits.upper)} mm"
    tolerance = limits.upper - limits.lower
    checks = [_resolution(resolution, tolerance), *_type_ones(ones, limits), _gauge(gauge)]
    share = f"Q_MP = 4 u / T = {_percent(capability_ratio)}"
    checks.append(
        Check(
            share,
            f"at most {_percent(PROCESS_LIMIT)} (ISO 22514-7)",
            _at_most(capability_ratio, PROCESS_LIMIT),
        )
    )
    if limits.accept_lower >= limits.accept_upper:
        no = "the guard bands meet: no reading proves that a part conforms"
        checks.append(Check(no, "room between them (ISO 14253-1)", Verdict.REFUSED))
    return Conclusion(use, tuple(checks))


def nearest(ones: tuple[TypeOne, ...], limits: Limits) -> tuple[TypeOne, ...]:
    """The studies that tell of the tolerance: those inside it, and the next one on each side without any.

    What a gauge does to parts of other lengths does not count here.
    """
    inside = [one for one in ones if limits.lower <= one.reference <= limits.upper]
    if inside:
        return tuple(inside)
    below = [one for one in ones if one.reference < limits.lower]
    above = [one for one in ones if one.reference > limits.upper]
    return (
        *sorted(below, key=lambda one: one.reference)[-1:],
        *sorted(above, key=lambda one: one.reference)[:1],
    )


def _mm(value: float) -> str:
    return f"{1e3 * value:.6g}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


def _at_most(value: float, limit: float) -> Verdict:
    # a share that is the limit but for rounding is not beyond it
    return Verdict.ACCEPTED if value <= limit * (1.0 + 1e-9) else Verdict.REFUSED


def _resolution(resolution: float, tolerance: float) -> Check:
    rule = f"at most {_percent(SHARE_ALLOWED)} (ISO 22514-7)"
    if not resolution:
        return Check("the resolution is not known", rule, Verdict.CONDITIONAL)
    share = resolution / tolerance
    found = f"resolution {1e3 * resolution:.3g} mm, {_percent(share)} of the tolerance"
    return Check(found, rule, _at_most(share, SHARE_ALLOWED))


def _type_ones(ones: tuple[TypeOne, ...], limits: Limits) -> list[Check]:
    if not ones:
        return [
            Check("no type-1 study: the bias is not known", "one at a reference part", Verdict.CONDITIONAL)
        ]
    checks = []
    for one in ones:
        asked = f"both at least {one.convention.required:g} ({one.convention.source})"
        found = f"type-1 at {_mm(one.reference)} mm: C_g = {one.c_g:.2f}, C_gk = {one.c_gk:.2f}"
        checks.append(Check(found, asked, Verdict.ACCEPTED if one.capable else Verdict.REFUSED))
        if one.count < RECOMMENDED:
            few = f"type-1 at {_mm(one.reference)} mm: {one.count} readings"
            checks.append(Check(few, f"{RECOMMENDED} or more (ISO 22514-7)", Verdict.CONDITIONAL))
    if not any(limits.lower <= one.reference <= limits.upper for one in ones):
        sides = {one.reference < limits.lower for one in ones}
        where = " and ".join(_mm(one.reference) for one in ones)
        far = f"no reference part within the tolerance; nearest {where} mm"
        if len(sides) < 2:
            checks.append(Check(far, "one within it, or one on each side", Verdict.CONDITIONAL))
    return checks


def _gauge(gauge: GaugeStudies | None) -> Check:
    rule = (
        f"at most {_percent(GAUGE_GOOD)} accepted, to {_percent(GAUGE_USABLE)} conditionally "
        "(measurement systems analysis manual)"
    )
    if gauge is None:
        return Check("no study of repeatability on several parts", rule, Verdict.CONDITIONAL)
    share = gauge.chosen.components["gauge"].of_tolerance
    found = f"GRR: {STUDY_SPREAD:g} s is {_percent(share)} of the tolerance"
    if share <= GAUGE_GOOD:
        return Check(found, rule, Verdict.ACCEPTED)
    return Check(found, rule, Verdict.CONDITIONAL if share <= GAUGE_USABLE else Verdict.REFUSED)
