"""How the counts of single passages scatter about their expectation."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.chain import pipeline
from gatesim.counter.counter import REGISTERS
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal, Streams
from gatesim.shopfloor.fit.forward import Forward, steps_in

LENGTHS = 5  # the scatter changes slowly with length: so many are simulated, others take the nearest
PERIODS = 8
HARMONICS = range(1, 101)
NO_MORE = 1e-18
"""Counts squared that make no difference: by the 13th harmonic where jitter is a tenth of a count."""


@dataclass(frozen=True)
class Passages:
    """Simulated passages at a few lengths: what single passages count more than is expected.

    ``error`` (m, d, 4) counts before whole ones are taken, NaN where not recorded; ``nearest``
    (g,) which of the m lengths stands for each of the log's.
    """

    nearest: NDArray[np.int64]
    error: Array

    @property
    def moments(self) -> tuple[Array, Array]:
        """Covariance (g, 4, 4) in counts squared and mean (g, 4), NaN for registers not recorded."""
        with np.errstate(invalid="ignore"):  # registers that are never recorded
            covariance, mean = _moments(self.error)
        return covariance[self.nearest], mean[self.nearest]

    @property
    def row_covariance(self) -> Array:
        """Covariance (g, 4, 4) of the counts of one row of each length: that of whole counts added."""
        return self.moments[0] + COUNTING


def simulated(forward: Forward, deviations: Array, lengths: Array, draws: int, seed: int) -> Passages:
    """Simulate ``draws`` passages of each of up to `LENGTHS` of the lengths (g,).

    Where a stage samples, positions are spread over a few periods, so that the mean over all
    fractions of a period is had and not that of a fraction that the fit knows too little of.
    """
    known = np.flatnonzero(np.isfinite(lengths))
    order = known[np.argsort(lengths[known])]
    chosen = lengths[order[np.unique(np.linspace(0, len(order) - 1, LENGTHS).round().astype(int))]]
    trial_lengths = np.repeat(chosen, draws)
    draw = Streams(seed, 0, len(trial_lengths))
    shifts = _spread_over_a_step(forward, draw)
    at = np.broadcast_to(deviations, (len(trial_lengths), len(deviations)))
    stretched = trial_lengths + shifts.pop("part.length", 0.0)
    seen = forward.scattered(at, stretched, draw, quantised=False, shifts=shifts)
    expected = np.repeat(forward.expected(at[: len(chosen)], chosen), draws, axis=0)
    if steps_in(forward.scenario):
        expected = forward.expected(at, stretched, shifts)  # type: ignore[arg-type]
    error = (seen - expected).reshape(len(chosen), draws, len(REGISTERS))
    return Passages(np.abs(lengths[:, None] - chosen).argmin(axis=1), error)


def _spread_over_a_step(forward: Forward, draw: Streams) -> dict[str, Array]:
    """Shifts of length and gates that carry each edge evenly over sampling periods."""
    period = steps_in(forward.scenario)
    if not period:
        return {}
    passed = pipeline.run(forward.smooth, Nominal(1))
    gate = forward.scenario.gate
    room = 0.5 * min(forward.scenario.part.length.nominal, gate.spacing.nominal)
    if gate.rearm is not None:
        room = min(room, 0.5 * (gate.rearm.nominal - gate.spacing.nominal))
    # several periods: speeds differ from edge to edge, and a part of a period left over counts less
    travel = min(PERIODS * period * float(passed.motion.speed[0, passed.front[0]]), room)
    names = [
        "part.length",
        "gate.spacing",
        *(["gate.rearm"] if "gate.rearm" in forward.smooth.inputs() else []),
    ]
    return {name: travel * (draw.uniform(f"fit.step@{name}") - 0.5) for name in names}


def _moments(error: Array) -> tuple[Array, Array]:
    """Covariance (m, 4, 4) and mean (m, 4) over axis 1, of the trials that recorded all they could."""
    m, _, r = error.shape
    covariance, mean = np.full((m, r, r), np.nan), np.full((m, r), np.nan)
    for row in range(m):
        able = np.isfinite(error[row]).mean(axis=0) > 0.5
        whole = error[row][np.isfinite(error[row][:, able]).all(axis=1)][:, able]
        if able.any() and len(whole) > 1:
            covariance[row][np.ix_(able, able)] = np.atleast_2d(np.cov(whole, rowvar=False))
            mean[row, able] = whole.mean(axis=0)
    return covariance, mean


# Whole counts with one uniform phase for all registers: 1/6 count squared, correlation one half, over all
# fractions (see `counting_covariance`). Common practice takes the same 1/6 for a single interval.
COUNTING = (np.eye(len(REGISTERS)) + 1.0) / 12.0


def fraction_slack(covariance: Array) -> tuple[float, float]:
    """Least and greatest ratio of the scatter of repeated rows to the covariance (g, r, r) of one.

    Where jitter is small against a count, the scatter depends on where between two counts the
    expectation lies, which is not known well enough: counts just above a whole number hardly
    scatter, those half-way do most. Mean squared distance over its expectation, at 200 random
    fractions; both are 1 where jitter exceeds some 0.4 counts.
    """
    size = covariance.shape[1]
    average = COUNTING[:size, :size]
    fractions = np.random.default_rng(1).random((200, size))
    ratios = [1.0]
    for own in np.unique(covariance.round(6), axis=0):
        smear = np.broadcast_to(own - average, (len(fractions), size, size))
        real = smear + counting_covariance(fractions, smear)
        ratios += (np.einsum("rs,nsr->n", np.linalg.inv(own), real) / size).tolist()
    return min(ratios), max(ratios)


def counting_covariance(counts: Array, smear: Array) -> Array:
    """Covariance (g, r, r) of whole counts about fractional ones (g, r), in counts squared.

    A register holds floor(p + phase) with one phase, uniform on (0, 1), for all of them. With
    the sawtooth B(x) = x - floor(x) - 1/2 its error is B(phase) - B(p + phase), so that

        cov_kl = c(0) - c(p_k) - c(p_l) + c(p_k - p_l),
        c(d) = E B(phase) B(phase + d) = sum over m of cos(2 pi m d) / (2 pi^2 m^2).

    A normal scatter of d of variance s^2 multiplies the m-th term by exp(-2 pi^2 m^2 s^2);
    much scatter leaves 1/6 on the diagonal and 1/12 beside it. ``smear`` (g, r, r) is the
    covariance of p. (Fourier series of the second Bernoulli polynomial; the variance is that
    of the clock, f (1 - f).)
    """
    variance = np.einsum("grr->gr", smear)
    own = _sawtooth_product(counts, variance)
    apart = counts[:, :, None] - counts[:, None, :]
    between = _sawtooth_product(apart, variance[:, :, None] + variance[:, None, :] - 2.0 * smear)
    covariance: Array = 1.0 / 12.0 - own[:, :, None] - own[:, None, :] + between
    return covariance


def _sawtooth_product(distance: Array, variance: Array) -> Array:
    scatter = 2.0 * np.pi**2 * np.maximum(variance, 0.0)
    total = np.where(variance == 0.0, _exact(distance), 0.0)
    for m in HARMONICS:
        damped = np.where(variance == 0.0, 0.0, np.exp(-(m**2) * scatter)) / (2.0 * np.pi**2 * m**2)
        if not (damped > NO_MORE).any():
            break  # all further ones are smaller still
        total = total + damped * np.cos(2.0 * np.pi * m * distance)
    return total


def _exact(distance: Array) -> Array:
    part = distance - np.floor(distance)
    exact: Array = 0.5 * (part**2 - part + 1.0 / 6.0)
    return exact
