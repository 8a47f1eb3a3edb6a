"""The sheet of a rig fitted to the equation of motion, and held against it where it was not fitted."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from gatesim.chain.sidebyside import Asking, Question, in_step
from gatesim.chain.surface.cells import A_STEP, PROBES, Account, Grid, decay_of, directions, grid_for, probes
from gatesim.chain.surface.coordinates import Coordinates, coordinates_of, items_of
from gatesim.chain.surface.sheet import Sheet
from gatesim.chain.surface.terms import SPARE, Terms, even_points
from gatesim.ground.arrays import Array, Flags
from gatesim.ground.outcome import Outcome
from gatesim.motion import STANDARD_GRAVITY, Passage

WITHIN = 1e-9
"""Largest error of a crossing time, relative to the middle trial's time between first and last crossing."""

GOOD = 2e-11
"""And relative to itself where that is more: what the equation of motion is solved to."""

SPEED = 1e-8
"""Largest relative error of a speed."""

CHECKS, CHECKED = 16, 0.25
"""Points of a cell at which it is held against the equation of motion, beside trials of the sample; and the
part of what is allowed that it has to keep there, since they are few."""

TWINS, TWIN = 8, 1e-11
"""Trials that have to move as their coordinates say, and within what relative time they do."""

OTHERS = 128
"""Trials as they are drawn that a sample ends with."""

EDGE = 0.02
"""How far, relative to the critical speed or to gravity, a part has to be from running away."""

ENOUGH = 0.9
"""Share of trials as they are drawn that has to lie in cells that hold."""

MORE = (0.0, 0.5, 1.0, 1.5, 2.0, 2.5, 3.0)
"""Degrees added until the cells hold."""

LIKELY = 1.5
"""Of them, as many as it takes where several coordinates matter alike (measured)."""

LEAST_WORK = 1.0
"""Seconds of steps of the equation of motion from which on it is worth a try."""

AROUND = 2.5
"""What a motion costs beside its steps, in explicit steps (measured)."""

GAIN = 0.75
"""Largest cost of a sheet over that of the motion for it to be worth while."""


@dataclass(frozen=True)
class Sample:
    """Trials of a rig, as `coordinates_of` has them, that stand for so many ``trials``.

    quantities: number of those that vary. speeds: whether speeds are wanted as well.
    """

    asked: Question
    quantities: int
    trials: float
    speeds: bool


@dataclass(frozen=True)
class Draft:
    """A sheet that is worth its fit; ``tolerance`` of times in s."""

    sample: Sample
    coordinates: Coordinates
    grid: Grid
    account: Account
    tolerance: float


def sheets_of(first: Sample, others: Iterator[Sample]) -> list[Sheet]:
    """The sheets of those samples that are worth one; none where the first is not, and no other is made then.

    A sheet is not where what varies is not told by coordinates, parts stop on the way, the motion is not
    smooth, or it is so quick, or the trials so few, that nothing would be gained.
    """
    (main,) = in_step([_draft_of(first)])
    if main is None:
        return []
    drafts = [main, *in_step([_draft_of(other) for other in others])]
    sheets = in_step([_sheet_of(draft) for draft in drafts if draft is not None])
    return [] if sheets[0] is None else [sheet for sheet in sheets if sheet is not None]


def _draft_of(sample: Sample) -> Asking[Draft | None]:
    some = sample.asked.of(slice(len(sample.asked.positions) - TWINS, None))
    (mine,) = yield [some]
    if sample.trials * float(mine.effort.mean()) * A_STEP < LEAST_WORK:
        return None
    for merge in (True, False):
        coordinates = coordinates_of(sample.asked, sample.quantities, merge=merge)
        if coordinates is None:
            continue
        # those trials as their coordinates say, and what a grid is chosen by
        x, _, known = coordinates.of(items_of(some), some.positions)
        twins = replace(coordinates.at(x, np.zeros(TWINS)), positions=some.positions)
        along = np.concatenate([np.outer(one, probes()) for one in directions(len(x) + 1)], axis=1)
        theirs, probed = yield [twins, coordinates.at(along[:-1], along[-1])]
        if known.all() and (np.abs(mine.time - theirs.time) <= TWIN * theirs.time).all():
            return _draft(sample, coordinates, probed)
    return None


def _draft(sample: Sample, coordinates: Coordinates, probed: Passage) -> Draft | None:
    if not _sound(probed).all():
        return None
    times = probed.time.reshape(-1, PROBES, probed.time.shape[1])
    middle = times[0, PROBES // 2]
    tolerance = max(WITHIN * float(np.ptp(middle)), GOOD * float(middle.max()))
    columns, count = times.shape[2] * (1 + sample.speeds), len(coordinates.free) + 1
    account = Account(sample.trials, float(probed.effort.mean()) + AROUND, count, columns, SPARE + CHECKS)
    close = CHECKED * tolerance
    decays = [decay_of(values, close) for values in times]
    # so that runs of products are long, see `Terms.runs`
    order = sorted(range(count - 1), key=lambda i: decays[i].degree)
    grid = grid_for([*(decays[i] for i in order), *decays[count - 1 :]], close, account)
    if account.fitted(_finer(grid, LIKELY)) > GAIN * account.solved:
        return None
    return Draft(sample, coordinates.ordered(order), grid, account, tolerance)


def _sheet_of(draft: Draft) -> Asking[Sheet | None]:
    sample, account, cells = draft.sample, draft.account, draft.grid.cells
    blank = Sheet(draft.coordinates, cells, Terms(()), (), np.ones(draft.grid.number, bool))
    checks = even_points(len(cells) + 1, CHECKS)
    checked, moved = yield [_at(blank, checks), sample.asked]
    known = _wanted(checked, speeds=sample.speeds).reshape(draft.grid.number, CHECKS, -1)
    for more in MORE:
        grid = _finer(draft.grid, more)
        if account.fitted(grid, known.shape[1]) > GAIN * account.solved:
            return None
        terms = Terms(grid.degrees)
        if len(terms.points) == known.shape[1] - CHECKS:  # the same as before
            continue
        (solved,) = yield [_at(blank, terms.points[known.shape[1] - CHECKS :])]  # those before are the same
        new = _wanted(solved, speeds=sample.speeds).reshape(grid.number, -1, known.shape[2])
        known = np.concatenate([known, new], axis=1)
        sheet = replace(blank, terms=terms, coefficients=terms.fitted(known[:, CHECKS:]))
        every = np.concatenate([checks, terms.points])
        off = _off(sheet, *_everywhere(sheet, every), known.reshape(-1, known.shape[2]), draft.tolerance)
        sheet = replace(sheet, holds=np.asarray((off.reshape(grid.number, -1) <= CHECKED).all(axis=1)))
        if sheet.holds.all():
            break
    return sheet if _serves(sheet, sample, _wanted(moved, speeds=sample.speeds), draft.tolerance) else None


def _finer(grid: Grid, more: float) -> Grid:
    """With so many degrees more in every coordinate that needs any."""
    return Grid(grid.cells, tuple(n + more if n else 0.0 for n in grid.degrees))


def _everywhere(sheet: Sheet, points: Array) -> tuple[Array, Array]:
    """Coordinates (d, cells n) and places (p, cells n) of points (n, d + 1) of every cell."""
    z = np.tile(points[:, -1], len(sheet.holds))
    return sheet.everywhere(points[:, :-1].T), np.tile(z, (sheet.coordinates.places.shape[1], 1))


def _at(sheet: Sheet, points: Array) -> Question:
    """The motions there."""
    x, z = _everywhere(sheet, points)
    return sheet.coordinates.at(x, z[0])


def _wanted(moved: Passage, *, speeds: bool) -> Array:
    """What is fitted, (n, columns); NaN of parts that stop, or are near to running away."""
    values = np.concatenate([moved.time, moved.speed], axis=1) if speeds else moved.time
    return np.where(_sound(moved)[:, None], values, np.nan)


def _serves(sheet: Sheet, sample: Sample, wanted: Array, tolerance: float) -> bool:
    """Whether it holds for trials of the rig as they are, and for most of them."""
    x, z, known = sheet.coordinates.of(items_of(sample.asked), sample.asked.positions)
    here = known & sheet.holds_at(x)
    good = _off(sheet, np.clip(x, -1.0, 1.0), z, wanted, tolerance) <= 1.0
    return bool(good[here].all() and np.mean(here[-OTHERS:]) >= ENOUGH)


def _off(sheet: Sheet, x: Array, z: Array, wanted: Array, tolerance: float) -> Array:
    """Largest errors (n,) at x and z, over what is allowed; infinite where nothing is wanted (n, columns)."""
    p = len(z)
    found = sheet.values(x, z).T
    off = np.abs(found[:, :p] - wanted[:, :p]).max(axis=1) / tolerance
    if found.shape[1] > p:
        off = np.maximum(off, np.abs(found[:, p:] / wanted[:, p:] - 1.0).max(axis=1) / SPEED)
    return np.asarray(np.where(np.isnan(off), np.inf, off))


def _sound(moved: Passage) -> Flags:
    """Trials (n,) that pass all positions, and are far from running away."""
    away = np.minimum(moved.brake_ratio - 1.0, moved.brake_acceleration / STANDARD_GRAVITY)
    near = away > -EDGE  # NaN: nothing to run away from
    return np.asarray((moved.outcome == Outcome.MEASURED) & ~np.isnan(moved.time).any(axis=1) & ~near)
