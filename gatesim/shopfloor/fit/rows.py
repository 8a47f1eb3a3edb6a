"""Rows of a log, sorted for a fit: which part, which of its lengths are known, which rows are held out."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from gatesim.counter.counter import REGISTERS
from gatesim.ground.arrays import Array
from gatesim.ground.errors import InputError
from gatesim.shopfloor.log import BadRow, Log

Mask = NDArray[np.bool_]
Index = NDArray[np.int64]

ABSURD = 100.0  # a reference part shorter or longer than the usual part by this factor is a slip of the pen


@dataclass(frozen=True)
class Rows:
    """The passages of a log.

    ``counts`` (n, 4) of `REGISTERS`, NaN where not logged; ``group`` (n,) which of the g
    lengths a row has; ``known`` (g,) m, NaN for a part of unknown length; ``usable`` and
    ``held_out`` (n,); ``apart`` the usable log rows that the fit cannot use, and why.
    """

    log: Log
    counts: Array
    group: Index
    known: Array
    usable: Mask
    held_out: Mask
    apart: tuple[BadRow, ...]

    @property
    def fitted(self) -> Mask:
        """Rows for the fit, (n,)."""
        return self.usable & ~self.held_out

    @property
    def reference(self) -> Array:
        """True length of the part of each row, (n,) m, NaN where unknown."""
        return self.known[self.group]

    @property
    def time(self) -> Array:
        """Time of each row in s, (n,); NaN where the log has none."""
        return self.log.numbers.get("time", np.full(len(self.log), np.nan))

    @property
    def timed(self) -> bool:
        """Whether every usable row has its time."""
        return bool(np.isfinite(self.time[self.usable]).all())

    @property
    def moment(self) -> Array:
        """When each row was taken, from the middle of the usable ones, (n,), in `per`."""
        time = self.time / 3600.0 if self.timed else np.arange(len(self.log)) / 100.0
        time = np.where(self.usable, time, time[self.usable].mean())
        return np.asarray(time - time[self.usable].mean())

    @property
    def per(self) -> str:
        """The unit of moments: an hour where the log has times, else a hundred rows."""
        return "hour" if self.timed else "hundred rows"


def rows_of(log: Log, length: float, share: float, seed: int) -> Rows:
    """Sort a log; hold out a share of the reference rows, evenly over the lengths.

    ``length`` (m) is that of the usual part. Raises InputError, also where a reference length is
    a `ABSURD`-th or `ABSURD` times of it.
    """
    nothing = np.full(len(log), np.nan)
    counts = np.stack([log.numbers.get(name, nothing) for name in REGISTERS], axis=1)
    if np.isnan(counts).all():
        raise InputError(f"{log.path}: no column of counts, expected one or more of {', '.join(REGISTERS)}")
    group, known = _groups(log)
    _check_references(log, length)
    usable, apart = _usable(log, counts, group, known)
    if not usable.any():
        raise InputError(f"{log.path}: no row can be fitted, the first because {apart[0].reason}")
    reference = usable & np.isfinite(known[group])
    held_out = _held_out(reference, group, share, seed)
    left = int((usable & ~held_out).sum())
    if left < 2:
        raise InputError(
            f"{log.path}: {left or 'no'} row is left to fit ({int(usable.sum())} usable, "
            f"{int(held_out.sum())} of them held out), expected at least 2"
        )
    return Rows(log, counts, group, known, usable, held_out, apart)


def _check_references(log: Log, length: float) -> None:
    for line, given in zip(log.lines, log.numbers.get("reference", ()), strict=False):
        if not (np.isnan(given) or length / ABSURD < given < length * ABSURD):
            raise InputError(
                f"{log.path}, line {line}: reference {1e3 * given:g} mm, expected the length of a part such "
                f"as the scenario's, {1e3 * length:g} mm"
            )


def _groups(log: Log) -> tuple[Index, Array]:
    """Rows of one part share a length, and rows of one reference length where no part is named."""
    reference = log.numbers.get("reference", np.full(len(log), np.nan))
    part = log.labels.get("part", ("",) * len(log))
    index: dict[tuple[str, object], int] = {}
    known: list[float] = []
    group = np.zeros(len(log), np.int64)
    for row, (name, length) in enumerate(zip(part, reference, strict=True)):
        key: tuple[str, object] = ("row", row)
        if name:
            key = ("part", name)
        elif not np.isnan(length):
            key = ("reference", float(length))
        if not np.isnan(length) and not length > 0.0:
            raise InputError(f"{log.path}, line {log.lines[row]}: reference {length:g} m, expected above 0")
        number = index.setdefault(key, len(known))
        if number == len(known):
            known.append(np.nan)
        if not np.isnan(length):
            if not np.isnan(known[number]) and known[number] != length:
                raise InputError(
                    f"{log.path}, line {log.lines[row]}: part {name!r} has the reference {1e3 * length:g} "
                    f"mm, expected {1e3 * known[number]:g} mm as in an earlier row"
                )
            known[number] = float(length)
        group[row] = number
    return group, np.array(known)


def _usable(log: Log, counts: Array, group: Index, known: Array) -> tuple[Mask, tuple[BadRow, ...]]:
    recorded = np.isfinite(counts).sum(axis=1)
    alone = np.bincount(group)[group] == 1
    usable = recorded >= np.where(np.isnan(known[group]) & alone, 2, 1)
    reasons = {
        0: "no count is recorded",
        1: "one count alone says nothing of the rig where the length is unknown",
    }
    apart = tuple(BadRow(log.lines[row], reasons[int(recorded[row])], "") for row in np.flatnonzero(~usable))
    return usable, apart


def _held_out(reference: Mask, group: Index, share: float, seed: int) -> Mask:
    """Every 1/share-th of the reference rows, shuffled within their length."""
    held = np.zeros(len(reference), bool)
    rows = np.flatnonzero(reference)
    shuffled = rows[np.random.default_rng(seed).permutation(len(rows))]
    ordered = shuffled[np.argsort(group[shuffled], kind="stable")]
    number = np.arange(len(ordered))
    held[ordered[np.floor((number + 1) * share) > np.floor(number * share)]] = True
    return held


@dataclass(frozen=True)
class Cells:
    """Rows of one length and the same registers, which repeat each other.

    ``row`` (n,) the cell of each row, -1 for none; ``group`` (c,), ``count`` (c,), ``mask``
    (c, 4) which registers, ``mean`` and ``median`` (c, 4) of the counts, 0 off the mask;
    ``moment`` (c,) mean of the rows' moments.
    """

    row: Index
    group: Index
    count: Index
    mask: Mask
    mean: Array
    median: Array
    moment: Array


def cells_of(rows: Rows, used: Mask) -> Cells:
    """Gather the rows ``used`` (n,)."""
    mask = np.isfinite(rows.counts)
    key = np.column_stack([rows.group, mask])[used]
    distinct, inverse = np.unique(key, axis=0, return_inverse=True)
    row = np.full(len(used), -1)
    row[used] = inverse.ravel()
    counts = np.where(mask, rows.counts, 0.0)
    count = np.bincount(row[used], minlength=len(distinct))
    mean = np.stack([np.bincount(row[used], column) for column in counts[used].T], axis=1) / count[:, None]
    median = np.stack([np.median(counts[row == cell], axis=0) for cell in range(len(distinct))])
    moment = np.bincount(row[used], rows.moment[used]) / count
    return Cells(row, distinct[:, 0], count, distinct[:, 1:].astype(bool), mean, median, moment)


def matching(rows: Rows, cells: Cells) -> Index:
    """The cell whose rows each row repeats, (n,), whether it is one of them or not; -1 for none."""
    keys = np.column_stack([cells.group, cells.mask])
    known = {tuple(key): number for number, key in enumerate(keys.tolist())}
    own = np.column_stack([rows.group, np.isfinite(rows.counts)]).tolist()
    return np.array([known.get(tuple(key), -1) for key in own])
