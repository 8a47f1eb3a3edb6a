"""The fit of a rig to its log, in order."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from gatesim.chain.controller import controller_of
from gatesim.chain.pipeline import read
from gatesim.counter.counter import REGISTERS
from gatesim.formula import Counts
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario
from gatesim.shopfloor.fit.adequacy import ENOUGH_TO_CENTRE, Adequacy, Outlying, judge, outlying
from gatesim.shopfloor.fit.correction import Correction, corrections
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.leastsquares import Minimum, covariance, minimise
from gatesim.shopfloor.fit.noise import row_covariance
from gatesim.shopfloor.fit.parameter import parameters, varying
from gatesim.shopfloor.fit.rows import Cells, Mask, Rows, cells_of, rows_of
from gatesim.shopfloor.fit.separate import Extra, Separability, extras, separability
from gatesim.shopfloor.fit.system import System
from gatesim.shopfloor.log import BadRow, Log

DRAWS = 2000  # simulated passages a length: covariance to some 3 %, standard uncertainties to half that


@dataclass(frozen=True)
class Wish:
    """What is asked of a fit.

    ``unknown`` and ``varies`` are paths of the scenario; ``doubt`` the standard uncertainty of
    the reference lengths (m); ``held_out`` a share of the reference rows; ``seed`` of the split
    and of the simulated scatter.
    """

    unknown: Sequence[str]
    varies: Sequence[str] = ()
    doubt: float = 0.0
    held_out: float = 0.25
    seed: int = 1
    mass_follows: bool = False
    draws: int = DRAWS


@dataclass(frozen=True)
class Fit:
    """A rig fitted to a log; SI throughout.

    ``estimate`` (k,) and ``covariance`` (k, k) of ``forward.parameters``, unknowns first;
    ``minimum`` is where the search ended. ``lengths`` (g,) with ``length_std``, 0 for an exact
    reference. ``residual`` (n, 4) counts less expectation, in standard uncertainties of a single
    register, NaN where not logged; ``odd`` says which rows do not belong. ``extras`` are
    further measurements, ``corrections`` one a formula.
    """

    scenario: Scenario
    wish: Wish
    system: System
    rows: Rows
    minimum: Minimum
    estimate: Array
    covariance: Array
    lengths: Array
    length_std: Array
    residual: Array
    odd: Outlying
    adequacy: Adequacy
    separability: Separability
    extras: tuple[Extra, ...]
    corrections: tuple[Correction, ...]
    notes: tuple[str, ...]

    @property
    def forward(self) -> Forward:
        """The model that was fitted."""
        return self.system.forward

    @property
    def cells(self) -> Cells:
        """The rows that were fitted, gathered."""
        return self.system.cells

    @property
    def std(self) -> Array:
        """Standard uncertainties (k,); infinite for what the log does not determine."""
        std: Array = np.sqrt(np.diag(self.covariance))
        return std

    @property
    def apart(self) -> tuple[BadRow, ...]:
        """Every row that the fit did not use, held-out ones excepted, by line."""
        why = "it is further from the rows like it than scatter explains"
        lines = [BadRow(self.rows.log.lines[row], why, "") for row in np.flatnonzero(self.odd.outliers)]
        return tuple(sorted([*self.rows.log.bad, *self.rows.apart, *lines], key=lambda bad: bad.line))


def fit(scenario: Scenario, log: Log, wish: Wish) -> Fit:
    """Estimate the unknown quantities, and say what to measure further and to correct. Raises InputError."""
    found = estimate(scenario, log, wish)
    there = replace(found.system, start=found.lengths)
    more = extras(there, found.minimum.estimate, found.minimum.jacobian, wish.seed)
    return replace(found, extras=more, corrections=corrections(found))


def estimate(scenario: Scenario, log: Log, wish: Wish) -> Fit:
    """Estimate the unknown quantities of a rig from its log, without further advice. Raises InputError."""
    varies = varying(scenario, wish.varies)
    forward = Forward(scenario, parameters(scenario, wish.unknown, varies), varies, wish.mass_follows)
    rows = rows_of(log, wish.held_out, wish.seed)
    if not rows.fitted.any():
        raise InputError(f"{log.path}: no row is left to fit, expected more rows or a smaller share held out")
    k = len(forward.parameters)
    rough = _system(forward, rows, rows.fitted, _start(forward, rows), np.zeros(k), wish)
    rough = replace(rough, target=rough.cells.median)
    _check_start(rough, rows)
    at = _rough(rough)
    start = np.where(np.isnan(rows.known), rough.lengths(at), rows.known)
    everything = _system(forward, rows, rows.fitted, start, at, wish)
    expected = _expected(replace(everything, target=everything.cells.median), at)[everything.cells.group]
    odd = outlying(rows, rows.fitted, everything.cells, everything.covariance, expected)
    final = _without(everything, rows, rows.fitted & ~odd.outliers) if odd.outliers.any() else everything
    # a gross row among those held out would say nothing of the correction either
    odd = odd.joined(outlying(rows, rows.held_out, everything.cells, everything.covariance, expected))
    return _result(scenario, wish, rows, final, minimise(final.residual, final.jacobian, at), odd)


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
    readings = read(controller.formulas, Counts(*rows.counts.T), controller.constants, able)
    best = np.full(len(rows.counts), np.nan)
    for values in readings.values():
        best = np.where(np.isnan(best), np.where(values > 0.0, values, np.nan), best)
    best = np.where(np.isnan(best), forward.scenario.part.length.nominal, best)
    mean = np.bincount(rows.group, best) / np.bincount(rows.group)
    return np.where(np.isnan(rows.known), mean, rows.known)


def _system(forward: Forward, rows: Rows, used: Mask, start: Array, at: Array, wish: Wish) -> System:
    """What to minimise, with the scatter that simulated passages have at the deviations ``at`` (k,)."""
    cells = cells_of(rows, used)
    covariance, offset = row_covariance(forward, at, start, wish.draws, wish.seed)
    doubt = np.where(np.isnan(rows.known), math.inf, wish.doubt)
    return _settled(System(forward, cells, cells.mean, covariance, offset, start, doubt))


def _without(system: System, rows: Rows, used: Mask) -> System:
    """The same with the rows ``used`` (n,) alone."""
    cells = cells_of(rows, used)
    return _settled(replace(system, cells=cells, target=cells.mean))


def _settled(system: System) -> System:
    """A length of which no row is left has no part in the fit."""
    present = np.bincount(system.cells.group, minlength=len(system.start))
    return replace(system, doubt=np.where(present > 0, system.doubt, 0.0))


def _expected(system: System, at: Array) -> Array:
    """Expected counts (g, 4)."""
    return system.at(at).counts + system.offset


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


def _result(
    scenario: Scenario,
    wish: Wish,
    rows: Rows,
    system: System,
    found: Minimum,
    odd: Outlying,
) -> Fit:
    forward, cells = system.forward, system.cells
    lengths = system.lengths(found.estimate)
    apart = separability(found.jacobian, forward)
    spread = covariance(found.jacobian)
    values = np.array([p.nominal for p in forward.parameters]) + found.estimate
    expected = _expected(system, found.estimate)
    misfit = float((found.residual**2).sum())
    unknown_lengths = int((np.isinf(system.doubt)).sum())
    freedom = int(cells.mask.sum()) - apart.rank - unknown_lengths
    slopes = system.at(found.estimate).slopes[cells.group][:, :, : forward.unknowns]
    names = tuple(p.name for p in forward.parameters[: forward.unknowns])
    by_cell = expected[cells.group]
    adequacy = judge(rows, cells, system.covariance, by_cell, misfit, freedom, slopes, names)
    std = np.sqrt(system.covariance.diagonal(axis1=1, axis2=2))
    residual = ((rows.counts - expected[rows.group]) / std[rows.group]).T
    result = Fit(
        scenario=scenario,
        wish=wish,
        system=system,
        rows=rows,
        minimum=found,
        estimate=values,
        covariance=spread,
        lengths=lengths,
        length_std=system.length_std(found.estimate, spread),
        residual=np.where(rows.usable, residual, np.nan).T,
        odd=odd,
        adequacy=adequacy,
        separability=apart,
        extras=(),
        corrections=(),
        notes=(),
    )
    return replace(result, notes=_notes(result))


def _notes(result: Fit) -> tuple[str, ...]:
    notes = []
    if not result.minimum.converged:
        notes.append("The search for the minimum stopped early: take other starting values.")
    if result.odd.suspects.any():
        notes.append(
            f"{int(result.odd.suspects.sum())} rows scatter more than stated: too many for outliers, none "
            "is set apart. State what varies from passage to passage with --varies."
        )
    scenario = result.scenario
    acted_on = scenario.brake or scenario.air or scenario.launch
    if acted_on and np.unique(np.round(result.lengths, 9)).size > 1:
        rule = "in proportion to its length" if result.wish.mass_follows else "the one of the scenario"
        notes.append(f"The mass of each part is taken as {rule}.")
    if np.isnan(result.rows.known).any():
        count = int(np.isnan(result.rows.known).sum())
        notes.append(f"{count} unknown lengths were estimated along with the rig, one a part or row.")
    return tuple(notes)
