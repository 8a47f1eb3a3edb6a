"""The fit of a rig to its log, in order."""

import math
from dataclasses import dataclass, replace

import numpy as np

from gatesim.chain.controller import controller_of
from gatesim.chain.pipeline import read
from gatesim.counter.counter import REGISTERS
from gatesim.formula import Counts
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.fit.adequacy import Misfit, excess, judge, scatter_test
from gatesim.shopfloor.fit.correction import corrections
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import MOST, Minimum, covariance, minimise
from gatesim.shopfloor.fit.noise import LENGTHS, Passages, simulated
from gatesim.shopfloor.fit.outliers import ENOUGH_TO_CENTRE, Outlying, outlying, passages_needed
from gatesim.shopfloor.fit.parameter import parameters, varying
from gatesim.shopfloor.fit.result import Fit, FitOptions
from gatesim.shopfloor.fit.rows import Mask, Rows, cells_of, rows_of
from gatesim.shopfloor.fit.scatter import Within, wider, within
from gatesim.shopfloor.fit.separate import extras, separability
from gatesim.shopfloor.fit.system import System
from gatesim.shopfloor.fit.trend import detrended, with_trends
from gatesim.shopfloor.log import Log


def fit(scenario: Scenario, log: Log, options: FitOptions) -> Fit:
    """Estimate the unknown quantities, and say what to measure further and to correct. Raises InputError."""
    found = advised(estimate(scenario, log, options))
    return replace(found, corrections=corrections(found))


def advised(found: Fit) -> Fit:
    """With further measurements that would tell more."""
    there = replace(found.system, start=found.lengths)
    more = extras(there, found.minimum.estimate, found.minimum.jacobian, found.options.seed)
    return replace(found, extras=more)


def estimate(scenario: Scenario, log: Log, options: FitOptions) -> Fit:
    """Estimate the unknown quantities of a rig from its log, without further advice. Raises InputError."""
    varies = varying(scenario, options.varies)
    forward = Forward(scenario, parameters(scenario, options.unknown, varies), varies, options.mass_follows)
    rows = rows_of(log, scenario.part.length.nominal, options.held_out, options.seed)
    k = len(forward.parameters)
    start = _start(forward, rows)
    rough = _system(
        forward, rows, simulated(forward, np.zeros(k), start, options.draws, options.seed), options, start
    )
    rough = replace(rough, target=rough.cells.median)
    _check_start(rough, rows)
    at = _rough(rough)
    start = np.where(np.isnan(rows.known), rough.lengths(at), rows.known)
    needed = max(options.draws, passages_needed(rows, min(LENGTHS, len(start))))
    passages = simulated(forward, at, start, needed, options.seed)
    everything = _system(forward, rows, passages, options, start)
    model = replace(everything, target=everything.cells.median)
    odd = outlying(rows, model, at, rows.counts - _expected(model, rows, at), passages, options.seed)
    if options.trends:  # once more without the trend, which the rows that are left show
        steady, then = _trended(_with_rows(everything, rows, rows.fitted & ~odd.outliers), rows, at, options)
        error = rows.counts - _expected(steady, rows, then)
        odd = outlying(rows, steady, then, error, passages, options.seed)
    used = _with_rows(everything, rows, rows.fitted & ~odd.outliers)
    return _result(options, rows, _fitted(used, rows, at, options), odd)


@dataclass(frozen=True)
class _Minima:
    """A fit by the stated scatter, and by that of the rows: the same where it is no wider."""

    stated: System
    by_stated: Minimum
    within: Within
    final: System
    by_final: Minimum


def _trended(system: System, rows: Rows, at: Array, options: FitOptions) -> tuple[System, Array]:
    """The system with the trends asked for, and its minimum (k,)."""
    at = minimise(system.residual, system.jacobian, at).estimate
    system, at = with_trends(system, rows, at, options.trends)
    return system, minimise(system.residual, system.jacobian, at).estimate


def _fitted(system: System, rows: Rows, at: Array, options: FitOptions) -> _Minima:
    """Minimise; where repeated rows scatter more than stated, once more by their own scatter."""
    if options.trends:
        system, at = _trended(system, rows, at, options)
    found = minimise(system.residual, system.jacobian, at)
    spread = within(rows, system.cells, system.covariance, detrended(system, rows, found.estimate))
    if not excess(spread, scatter_test(spread)):
        return _Minima(system, found, spread, system, found)
    wide = wider(system.covariance, system.cells, spread.matrix, spread.repeats)
    final, start = replace(system, covariance=wide), found.estimate
    if options.trends:
        final, start = with_trends(final, rows, start, options.trends)
    return _Minima(system, found, spread, final, minimise(final.residual, final.jacobian, start))


def _rough(system: System) -> Array:
    """Deviations (k,) that single gross rows do not pull away.

    First the unknowns alone: far from the minimum what is known would be bent out of all
    reason to make up for them. Medians of repeated rows see to gross ones; where rows do not
    repeat, large residuals count less.
    """
    k, u = len(system.forward.parameters), system.forward.unknowns

    def padded(x: Array) -> Array:
        return np.concatenate([x, np.zeros(k - u)])

    far = minimise(
        lambda x: system.residual(padded(x)),
        lambda x: system.jacobian(padded(x))[:, :u],
        np.zeros(u),
        tolerance=1e-3,
    )
    at = minimise(system.residual, system.jacobian, padded(far.estimate), tolerance=1e-3).estimate
    if (system.cells.count >= ENOUGH_TO_CENTRE).all():
        return at
    return minimise(system.residual, system.jacobian, at, robust=True, tolerance=1e-3).estimate


def _start(forward: Forward, rows: Rows) -> Array:
    """Lengths to begin with, (g,): references, else the mean reading of a formula of the rig."""
    controller = controller_of(forward.scenario)
    able = np.ones(len(rows.counts), bool)
    readings = read(controller.constants, Counts(*rows.counts.T), able)
    best = np.full(len(rows.counts), np.nan)
    for values in readings.values():
        best = np.where(np.isnan(best), np.where(values > 0.0, values, np.nan), best)
    best = np.where(np.isnan(best), forward.scenario.part.length.nominal, best)
    mean = np.bincount(rows.group, best) / np.bincount(rows.group)
    return np.where(np.isnan(rows.known), mean, rows.known)


def _system(forward: Forward, rows: Rows, passages: Passages, options: FitOptions, start: Array) -> System:
    """What to minimise, with the scatter that simulated passages have."""
    cells = cells_of(rows, rows.fitted)
    reference_uncertainty = np.where(np.isnan(rows.known), math.inf, options.reference_uncertainty)
    covariance, offset = passages.row_covariance, passages.moments[1]
    return _settled(System(forward, cells, cells.mean, covariance, offset, start, reference_uncertainty))


def _with_rows(system: System, rows: Rows, used: Mask) -> System:
    """The same with the rows ``used`` (n,) alone."""
    cells = cells_of(rows, used)
    return _settled(replace(system, cells=cells, target=cells.mean))


def _settled(system: System) -> System:
    """A length of which no row is left has no part in the fit."""
    present = np.bincount(system.cells.group, minlength=len(system.start))
    return replace(system, uncertainty=np.where(present > 0, system.uncertainty, 0.0))


def _expected(system: System, rows: Rows, at: Array) -> Array:
    """Expected counts (n, 4) of every row."""
    lengths = system.lengths(at)[rows.group]
    counts = system.forward.expected(
        np.broadcast_to(at, (len(lengths), len(at))), lengths, moments=rows.moment
    )
    return np.asarray(counts + system.offset[rows.group])


def _check_start(system: System, rows: Rows) -> None:
    """Raise InputError where the scenario as it stands does not record what the log has."""
    lost = np.isnan(system.covariance[system.cells.group].diagonal(axis1=1, axis2=2)) & system.cells.mask
    scenario = system.forward.scenario
    expected = f"expected a scenario ({scenario.file}) in which every logged part passes and is counted"
    if lost.any():
        cell, register = np.argwhere(lost)[0]
        line = rows.log.lines[int(np.flatnonzero(system.cells.row == cell)[0])]
        raise InputError(
            f"{rows.log.path}, line {line}: {REGISTERS[register]} is logged, but {scenario.file} as it is "
            f"does not record it for this part, {expected}"
        )
    if not np.isfinite(system.residual(np.zeros(len(system.forward.parameters)))).all():
        raise InputError(f"{rows.log.path}: with {scenario.file} as it is a part hardly passes, {expected}")


def _result(options: FitOptions, rows: Rows, minima: _Minima, odd: Outlying) -> Fit:
    system, found = minima.final, minima.by_final
    forward = system.forward
    apart = separability(found.jacobian, forward)
    spread = covariance(found.jacobian)
    values = np.array([p.nominal for p in forward.parameters]) + found.estimate
    counts = detrended(system, rows, found.estimate)
    std = np.sqrt(minima.stated.covariance.diagonal(axis1=1, axis2=2))[rows.group]
    residual = (rows.counts - _expected(system, rows, found.estimate)) / std
    free = int(system.cells.mask.sum()) - apart.rank - int(np.isinf(system.uncertainty).sum())
    misfits = [Misfit(float((m.residual**2).sum()), free) for m in (minima.by_stated, found)]
    result = Fit(
        scenario=forward.scenario,
        options=options,
        system=system,
        rows=rows,
        minimum=found,
        estimate=values,
        covariance=spread,
        lengths=system.lengths(found.estimate),
        length_std=system.length_std(found.estimate, spread),
        residual=np.where(rows.usable[:, None], residual, np.nan),
        odd=odd,
        adequacy=judge(
            rows,
            counts,
            (minima.stated, misfits[0], minima.within),
            (system, misfits[1], found.estimate),
            bool(odd.suspects.any()),
        ),
        separability=apart,
        extras=(),
        corrections=(),
        notes=(),
    )
    return replace(result, notes=_notes(result))


def _notes(result: Fit) -> tuple[str, ...]:
    notes = []
    if not result.minimum.converged:
        notes.append(
            f"The search for the minimum was given up after {MOST} evaluations: either the log does not "
            "belong to this rig, or the scenario's values are too far off to start from."
        )
    scenario = result.scenario
    acted_on = any(force.needs_mass for force in scenario.forces)
    if acted_on and np.unique(np.round(result.lengths, 9)).size > 1:
        per_length = scenario.part.mass_per_length is not None
        rule = (
            "in proportion to its length"
            if result.options.mass_follows or per_length
            else "the one of the scenario"
        )
        notes.append(f"The mass of each part is taken as {rule}.")
    if np.isnan(result.rows.known).any():
        count = int(np.isnan(result.rows.known).sum())
        notes.append(f"{count} unknown lengths were estimated along with the rig, one a part or row.")
    return tuple(notes)
