"""A rig whose motion is fitted before a long study, so that a braked part costs as little as a free one."""

from dataclasses import dataclass, replace
from typing import Any, ClassVar, Protocol, TypeVar

import numpy as np

from gatesim.chain.once import once
from gatesim.chain.pipeline import Move, motion_query
from gatesim.chain.sidebyside import Question
from gatesim.chain.surface.fit import OTHERS, Sample
from gatesim.chain.surface.surface import surface_of
from gatesim.chain.surface.terms import even_points
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Kind, Nominal
from gatesim.ground.quantity import Quantity
from gatesim.scenario import Scenario
from gatesim.studies.model import Calibrated, OfARig
from gatesim.studies.plan import CALIBRATED

BEYOND = 1e-6
"""Share of the draws of a quantity that may lie outside of the range that is fitted."""

LEAST = 20_000
"""Trials from which on it is worth a try."""


class Surveyable(OfARig, Calibrated, Protocol):
    """A rig whose motion can be answered by a surface: a dataclass with these fields."""

    __dataclass_fields__: ClassVar[dict[str, Any]]

    @property
    def scenario(self) -> Scenario:
        """What it is a measurement of."""
        ...

    @property
    def move(self) -> Move:
        """How its motion is solved."""
        ...

    @property
    def surface(self) -> Move | None:
        """What answers its motion instead."""
        ...


R = TypeVar("R", bound=Surveyable)


def surveyed(rig: R, trials: int, known: Array) -> R:
    """The rig for a study of so many trials, with reference parts of ``known`` lengths (m).

    Where its motion takes steps, is smooth in what varies, and the study is long enough, it is answered by a
    surface (`gatesim.chain.surface`); else the rig is as it was. That depends on the arguments alone.
    """
    solved = rig.surface is None and rig.move is once
    if (
        not solved or trials < LEAST or rig.scenario.counter.source.turned_by
    ):  # which asks how far it has moved
        return rig
    lags = [sensor.time_constant for sensor in rig.scenario.sensors]
    speeds = any(lag.nominal > 0.0 or lag.spread for lag in lags)
    counts: dict[float | None, float] = {None: trials}
    for length in known.tolist():
        counts[length] = counts.get(length, 0.0) + CALIBRATED * trials / known.size
    samples = [Sample(_asked(rig, length), len(rig.inputs), n, speeds) for length, n in counts.items()]
    found = surface_of(samples)
    return rig if found is None else replace(rig, surface=found)


def _asked(rig: Surveyable, length: float | None) -> Question:
    """Motions of the rig as `gatesim.chain.surface.coordinates.coordinates_of` wants them.

    ``length``: of a reference part in m, in place of the part's.
    """
    shares = _shares(len(rig.inputs))
    values = {
        name: _value(quantity, name, own)
        for (name, quantity), own in zip(rig.inputs.items(), shares, strict=True)
    }
    n = shares.shape[1]
    if length is not None:
        values = dict(rig.with_references(values, np.full(n, length), n))
    case = rig.case(values, Nominal(n))
    query = motion_query(case.scenario, case.draw, case.values, ends=case.ends, controller=case.controller)
    return Question(query.rig.part, query.rig.path, query.rig.forces, query.positions)


def _shares(quantities: int) -> Array:
    """Share of the draws that lie below each value of a sample, (quantities, n)."""
    one_by_one = np.full((quantities, 2 * quantities + 1), 0.5)
    for number in range(quantities):
        one_by_one[number, 2 * number + 1 : 2 * number + 3] = 0.0, 1.0
    return np.hstack([one_by_one, even_points(quantities, OTHERS).T / 2.0 + 0.5])


def _value(quantity: Quantity, name: str, shares: Array) -> Scalar:
    """Values below which these shares of the draws are; ends short of infinity where there is one."""
    found = quantity.sample(Quantiles(shares), name)
    if np.isfinite(found).all():
        return found
    return quantity.sample(Quantiles(np.clip(shares, BEYOND / 2.0, 1.0 - BEYOND / 2.0)), name)


@dataclass(frozen=True)
class Quantiles(Draw):
    """Draws that leave these shares (n,) of all draws below them."""

    shares: Array

    @property
    def trials(self) -> int:
        """Number of trials."""
        return self.shares.size

    def drawn(self, kind: Kind, name: str, columns: int | None = None) -> Array:
        """See `Draw.drawn`."""
        from scipy.special import ndtri  # deferred: costs start-up time

        one = self.shares if kind == "uniform" else ndtri(self.shares)
        return np.asarray(one if columns is None else np.repeat(one[:, None], columns, axis=1))
