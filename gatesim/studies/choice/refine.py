"""Continuous quantities of a promising candidate, by scipy.optimize over common random numbers."""

import math
from collections.abc import Sequence

from gatesim.studies.choice.candidate import Candidate, moved
from gatesim.studies.choice.evaluate import Round, evaluate
from gatesim.studies.choice.model import Choice
from gatesim.studies.choice.shared import Memory
from gatesim.studies.sweep import SweptQuantity

REJECTED = 1.0
"""Stands for the uncertainty (m) of a rig that does not work: worse than any that does."""

PRECISION = 1e-4
"""Of a range: how closely its best value is sought."""


def refine(start: Candidate, choice: Choice, round_: Round) -> Candidate:
    """The candidate with the values on its ranges that make its uncertainty least.

    One range: Brent's bounded method between the neighbours of the grid point. More of them:
    Nelder and Mead's simplex within all ranges. All evaluations share their random numbers,
    so that the objective is a function and not a noise; it is compared by a round of its own.
    """
    from scipy.optimize import minimize, minimize_scalar  # deferred: costs start-up time

    ranges, memory = choice.ranges, Memory()

    def uncertainty(x: Sequence[float]) -> float:
        return _uncertainty(start, x, choice, round_, memory)

    if len(ranges) == 1:
        low, high = _neighbours(ranges[0], start.values[ranges[0].path])
        found = minimize_scalar(
            lambda x: uncertainty([x]), bounds=(low, high), method="bounded",
            options={"xatol": PRECISION * (high - low)},
        )  # fmt: skip
        best, least = [float(found.x)], float(found.fun)
    else:
        bounds = [(float(axis.values.min()), float(axis.values.max())) for axis in ranges]
        at = [start.values[axis.path] for axis in ranges]
        simplex = [at] + [_stepped(at, i, axis) for i, axis in enumerate(ranges)]
        found = minimize(
            uncertainty, at, method="Nelder-Mead", bounds=bounds,
            options={"initial_simplex": simplex, "maxfev": 60 * len(ranges), "xatol": 0.0, "fatol": 1e-9},
        )  # fmt: skip
        best, least = [float(x) for x in found.x], float(found.fun)
    if least >= uncertainty([start.values[axis.path] for axis in ranges]):
        return start
    refined = _at(start, best, choice)
    return start if refined.values == start.values else refined


def _at(start: Candidate, x: Sequence[float], choice: Choice) -> Candidate:
    return moved(start, {axis.path: float(f"{v:.6g}") for axis, v in zip(choice.ranges, x, strict=True)})


def _uncertainty(
    start: Candidate, x: Sequence[float], choice: Choice, round_: Round, memory: Memory
) -> float:
    candidate = _at(start, x, choice)
    if candidate.scenario is None:
        return REJECTED
    (evaluation,) = evaluate([candidate], choice, round_, memory=memory)
    if evaluation.figures is None or not math.isfinite(evaluation.figures.uncertainty):
        return REJECTED
    if evaluation.figures.least_yield < choice.wanted.least_yield.nominal:
        return REJECTED
    return evaluation.figures.uncertainty


def _neighbours(axis: SweptQuantity, value: float) -> tuple[float, float]:
    """Grid values on either side of one, or the end of the range."""
    ordered = sorted(axis.values.tolist())
    at = min(range(len(ordered)), key=lambda i: abs(ordered[i] - value))
    return ordered[max(at - 1, 0)], ordered[min(at + 1, len(ordered) - 1)]


def _stepped(at: Sequence[float], index: int, axis: SweptQuantity) -> list[float]:
    """A corner of the first simplex: half a grid step along one range, inwards at its end."""
    low, high = _neighbours(axis, at[index])
    step = 0.5 * (high - at[index] if high > at[index] else low - at[index])
    return [v + step if i == index else v for i, v in enumerate(at)]
