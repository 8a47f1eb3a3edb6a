"""The motion of a rig fitted before a long study, so that a braked part costs as little as a free one."""

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from gatesim.chain.pipeline import motion_query
from gatesim.chain.sidebyside import Question
from gatesim.chain.surface.fit import OTHERS, Sample
from gatesim.chain.surface.surface import Surface, surface_of
from gatesim.chain.surface.terms import even_points
from gatesim.ground.arrays import Array, Scalar
from gatesim.ground.draw import Draw, Kind, Nominal
from gatesim.ground.quantity import Quantity
from gatesim.studies.model import Calibrated, OfARig
from gatesim.studies.plan import CALIBRATED

BEYOND = 1e-6
"""Share of the draws of a quantity that may lie outside of the range that is fitted."""

LEAST = 20_000
"""Trials from which on it is worth a try."""


class Surveyable(OfARig, Calibrated, Protocol):
    """A measurement by the chain that can be calibrated with reference parts."""


def surface_for(rig: Surveyable, trials: int, known: Array) -> Surface | None:
    """What answers for the motion in a study of so many trials; reference parts have ``known`` lengths (m).

    None unless the motion takes steps, is smooth in what varies, and the study is long enough. That depends
    on the arguments alone.
    """
    if trials < LEAST:
        return None
    counts: dict[float | None, float] = {None: trials}
    for length in known.tolist():
        counts[length] = counts.get(length, 0.0) + CALIBRATED * trials / known.size
    return surface_of(_sample(rig, length, count) for length, count in counts.items())


def _sample(rig: Surveyable, length: float | None, trials: float) -> Sample:
    """Motions of the rig that stand for so many; ``length``: of a reference part, in m."""
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
    asked = Question(query.rig.part, query.rig.path, query.rig.forces, query.positions)
    speeds = any(np.any(sensor.response.time_constant) for sensor in query.rig.sensors)
    return Sample(asked, len(rig.inputs), trials, speeds)


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
