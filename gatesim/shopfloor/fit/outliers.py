"""Rows of a log that do not belong to it."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.shopfloor.fit.noise import Passages
from gatesim.shopfloor.fit.rows import Index, Mask, Rows, cells_of, matching
from gatesim.shopfloor.fit.system import System, whitening

OUTLIER_RATE = 0.05  # chance that a log without outliers has a row set apart
MOST_OUTLIERS = 0.1  # more is no matter of single rows
ENOUGH_TO_CENTRE = 5
CENTRAL = 0.5  # share of the rows of a cell that make its centre
LOGS = 1000  # simulated for the limit: the rate is met within a percent
MOST_ROWS = 2_000_000  # of all of these together
FEWEST_LOGS = 200
OWN_LOGS = 300
OWN_MARGIN = 2.0
PASSAGES_PER_ROW = 400  # the limit lies where one row in twenty times the log's rows is expected


@dataclass(frozen=True)
class Outlying:
    """Rows (n,) set apart, rows that are suspect but too many for that, squared distances, their limit.

    ``own`` where the distances are in units of the scatter that the rows themselves have.
    """

    outliers: Mask
    suspects: Mask
    distance: Array
    limit: float
    own: bool


@dataclass(frozen=True)
class _Screen:
    """How the tested rows (t,) are compared: cells of like rows, and where their centre is.

    ``cell`` (t,) and ``centred`` (cells,): the centre is that of the fitted rows, else the
    model; ``fitted`` (t,); ``of_system`` (t,) the cell of the fit, -1 for none; ``group``
    (t,) the length; ``whitening`` (t, 4, 4) and ``mask`` (t, 4).
    """

    cell: Index
    centred: Mask
    fitted: Mask
    of_system: Index
    group: Index
    whitening: Array
    mask: Mask

    def deviations(self, white: Array) -> Array:
        """Deviations (b, t, 4) of whitened residuals (b, t, 4) from the centre of each row's cell.

        A centre is the mean of the half of the fitted rows nearest to their median.
        """
        moved = white.copy()
        for cell in np.flatnonzero(self.centred):
            like = np.flatnonzero(self.cell == cell)
            rows = white[:, like[self.fitted[like]]]
            away = ((rows - np.median(rows, axis=1, keepdims=True)) ** 2).sum(axis=2)
            keep = int(np.ceil(CENTRAL * rows.shape[1]))
            nearest = np.argpartition(away, keep - 1, axis=1)[:, :keep]
            centre = np.take_along_axis(rows, nearest[:, :, None], axis=1).mean(axis=1)
            moved[:, like] -= centre[:, None, :]
        return moved


def passages_needed(rows: Rows, lengths: int) -> int:
    """Simulated passages of each of so many lengths that the limit rests on."""
    return int(np.clip(PASSAGES_PER_ROW * int(rows.usable.sum()), 10_000, 400_000) / max(lengths, 1))


def outlying(
    rows: Rows, system: System, deviations: Array, error: Array, passages: Passages, seed: int
) -> Outlying:
    """Find the usable rows that do not belong, held-out ones by the same rule as the fitted.

    ``error`` (n, 4) counts less those of the model, which the deviations (k,) fit.

    The distance of a row, in standard uncertainties, is taken from the centre of the fitted
    rows like it where there are five or more, so that a wrong model makes no outliers, and
    from the model elsewhere. The limit is the greatest distance that `OUTLIER_RATE` of
    simulated logs of the same rows exceed. Where more than a tenth of the rows lie beyond, they
    scatter more than the model: distances are then in units of their own scatter, and where
    that still leaves more than a tenth beyond, none is set apart.
    """
    tested = np.flatnonzero(rows.usable & np.isfinite(system.covariance[rows.group]).any(axis=(1, 2)))
    screen = _screen(rows, tested, system)
    white = np.einsum("trs,ts->tr", screen.whitening, np.where(screen.mask, error[tested], 0.0))[None]
    away = screen.deviations(white)[0]
    squared = (away**2).sum(axis=1)
    greatest, middle = _simulated(screen, system, deviations, passages, seed)
    limit = float(np.quantile(greatest, 1.0 - OUTLIER_RATE))
    flagged = squared > limit
    most = max(1.0, MOST_OUTLIERS * len(tested))
    suspects = np.zeros(len(tested), bool)
    own = int(flagged.sum()) > most
    if own:
        [squared], [covariance] = _by_own_scatter(away[None], middle)
        limit = _own_limit(screen, covariance, middle, seed)
        found = squared > limit
        suspects = flagged
        flagged = found if int(found.sum()) <= most else np.zeros(len(tested), bool)
        suspects = suspects & ~flagged
    whole = [np.zeros(len(rows.counts), bool) for _ in range(2)]
    whole[0][tested], whole[1][tested] = flagged, suspects
    distance = np.full(len(rows.counts), np.nan)
    distance[tested] = squared
    return Outlying(whole[0], whole[1], distance, limit, own)


def _screen(rows: Rows, tested: Index, system: System) -> _Screen:
    cells = cells_of(rows, rows.usable)
    fitted = rows.fitted[tested]
    cell = cells.row[tested]
    many = np.bincount(cell[fitted], minlength=len(cells.count)) >= ENOUGH_TO_CENTRE
    mask = np.isfinite(rows.counts[tested])
    w = whitening(system.covariance[rows.group[tested]], mask)
    return _Screen(cell, many, fitted, matching(rows, system.cells)[tested], rows.group[tested], w, mask)


def _simulated(
    screen: _Screen, system: System, deviations: Array, passages: Passages, seed: int
) -> tuple[Array, float]:
    """Greatest squared distance of each simulated log (logs,), and the median of all.

    Rows are simulated passages with whole counts; where between two counts an expectation
    lies is anything, the same for all rows of a cell.
    """
    rng = np.random.default_rng(seed)
    size = len(screen.cell)
    logs = int(np.clip(MOST_ROWS // size, FEWEST_LOGS, LOGS))
    error = _whole(passages)
    greatest, middles = [], []
    for chunk in np.array_split(np.arange(logs), max(1, logs * size // 200_000)):
        pick = rng.integers(0, [len(error[m]) for m in passages.nearest[screen.group]], (len(chunk), size))
        noise = np.empty((len(chunk), size, screen.mask.shape[1]))
        for m, own in enumerate(error):
            here = passages.nearest[screen.group] == m
            noise[:, here] = own[pick[:, here]]
        fraction = rng.random((len(chunk), len(screen.centred), noise.shape[2]))[:, screen.cell]
        counts = np.floor(fraction + noise + rng.random((len(chunk), size, 1)))
        away = np.where(screen.mask, counts - fraction, 0.0)
        white = np.einsum("trs,bts->btr", screen.whitening, away, optimize=True)
        white = _less_the_fit(screen, system, deviations, white, rng)
        squared = (screen.deviations(white) ** 2).sum(axis=2)
        greatest.append(squared.max(axis=1))
        middles.append(np.median(squared))
    return np.concatenate(greatest), float(np.mean(middles))


def _whole(passages: Passages) -> list[Array]:
    """Errors (d, 4) of the passages that recorded all they could, a list by length, mean taken out."""
    found = []
    for error in passages.error:
        able = np.isfinite(error).mean(axis=0) > 0.5
        whole = np.where(able, error, 0.0)[np.isfinite(error[:, able]).all(axis=1)]
        found.append(whole - whole.mean(axis=0))
    return found


def _less_the_fit(
    screen: _Screen, system: System, deviations: Array, white: Array, rng: np.random.Generator
) -> Array:
    """What is left of whitened errors (b, t, 4) where the model, not like rows, is the centre."""
    alone = ~screen.centred[screen.cell] & (screen.of_system >= 0)
    if not alone.any():
        return white
    cells = system.cells
    root = np.sqrt(cells.count)[:, None]
    used = screen.fitted & (screen.of_system >= 0)
    total = np.zeros((len(white), len(cells.count), white.shape[2]))
    np.add.at(total.swapaxes(0, 1), screen.of_system[used], white[:, used].swapaxes(0, 1))
    mean = total / root  # whitened as the mean of a cell is
    others = system.residual(deviations).size - cells.mask.size
    noise = np.concatenate([mean.reshape(len(white), -1), rng.standard_normal((len(white), others))], axis=1)
    moved = (mean - system.left(deviations, noise)) / root
    out = white.copy()
    out[:, alone] -= moved[:, screen.of_system[alone]]
    return out


def _own_limit(screen: _Screen, covariance: Array, middle: float, seed: int) -> float:
    """The limit where rows scatter on their own, normally with ``covariance`` (4, 4).

    Twice the greatest distance of nineteen logs in twenty: what varies moves the counts of long
    parts otherwise than those of short ones, which one covariance does not know. No rate is
    promised.
    """
    rng = np.random.default_rng(seed)
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    white = rng.standard_normal((OWN_LOGS, len(screen.cell), len(root))) @ root.T
    away = screen.deviations(np.where(screen.mask, white, 0.0))
    greatest = _by_own_scatter(away, middle)[0].max(axis=1)
    return OWN_MARGIN * float(np.quantile(greatest, 1.0 - OUTLIER_RATE))


def _by_own_scatter(away: Array, middle: float) -> tuple[Array, Array]:
    """Squared distances (b, t) of logs (b, t, 4) by its own covariance (b, 4, 4); single rows do not sway it.

    The nearer half make a first covariance, scaled so that the median distance is
    ``middle``; the rows that lie within reach of it make the second.
    """
    from scipy.stats import chi2

    seen = np.flatnonzero(away.any(axis=(0, 1)))
    whole = np.zeros((len(away), away.shape[2], away.shape[2]))
    away = away[:, :, seen]
    nearest = np.argsort((away**2).sum(axis=2), axis=1, kind="stable")
    kept = np.zeros(away.shape[:2], bool)
    np.put_along_axis(kept, nearest[:, : int(np.ceil(CENTRAL * away.shape[1]))], True, axis=1)
    squared = np.zeros(away.shape[:2])
    reach = chi2.ppf(0.975, len(seen))
    for _ in range(3):
        centred = np.where(kept[:, :, None], away, 0.0)
        own = centred.swapaxes(1, 2) @ centred / kept.sum(axis=1)[:, None, None]
        values, vectors = np.linalg.eigh(own)
        least = 1e-9 * values.max(axis=1, keepdims=True)
        squared = ((away @ vectors) ** 2 / np.maximum(values, least)[:, None, :]).sum(axis=2)
        scale = middle / np.median(squared, axis=1)
        squared = squared * scale[:, None]
        whole[:, seen[:, None], seen] = own / scale[:, None, None]
        kept = squared <= reach
    return squared, whole
