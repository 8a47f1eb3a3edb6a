"""A profile along the path as few smooth pieces: nowhere below zero, without kinks.

Each piece is a polynomial in Bernstein form (Farin, Curves and Surfaces for CAGD, 4 and 5; from memory):
where no coefficient is negative, the polynomial is not, and two pieces of equal length meet without a kink
where the coefficient between them is the mean of its neighbours.
"""

from dataclasses import dataclass
from math import comb

import numpy as np

from gatesim.ground.arrays import Array

DEGREE = 8

TOLERANCE = 0.004
"""Largest deviation of the pieces from the profile, relative to its largest value."""

ROUNDS = 12
"""Of weighting: the more a point is missed, the more it weighs, until the largest miss is least (Lawson)."""

RANK = 1e-9
"""Least over largest diagonal of a triangle below which its unknowns are not told apart."""


@dataclass(frozen=True)
class Profile:
    """Share of the full drag over the leading end's position, symmetric about its middle.

    at: knots (k + 1,) in m, evenly spaced, from the magnets' first edge, of the first half; share: (k + 1,)
    there, from 0 to the value that holds until the mirror image begins. powers: (k, DEGREE + 1) coefficients
    of each piece in powers of -1 to 1 along it, constant first. largest: of all shares; peak: where it is in
    m, the end of the first half if that is no less to the tolerance.
    """

    at: tuple[float, ...]
    share: tuple[float, ...]
    powers: tuple[tuple[float, ...], ...]
    largest: float
    peak: float

    def over(self, x: Array) -> Array:
        """Share at positions x (...) of the first half; 0 before it and the last value behind."""
        size = (self.at[-1] - self.at[0]) / len(self.powers)
        along = (x - self.at[0]) / size
        piece = np.fmin(np.fmax(np.floor(along), 0.0), len(self.powers) - 1.0)
        first = piece.flat[0] if piece.size else 0.0
        if (piece == first).all():
            powers = np.array(self.powers[int(first)])
        else:
            powers = np.moveaxis(np.array(self.powers)[piece.astype(int)], -1, 0)
        place = 2 * (along - piece) - 1
        value: Array = powers[-1] * place
        for power in powers[-2:0:-1]:
            value += power
            value *= place
        value += powers[0]
        np.maximum(value, 0.0, out=value)  # rounding
        np.copyto(value, 0.0, where=along <= 0)
        np.copyto(value, self.share[-1], where=along >= len(self.powers))
        return value


def smooth(at: Array, share: Array) -> Profile:
    """As few pieces as keep within the tolerance of ``share`` (n,) at ``at`` (n,), m.

    Where the share is nothing, or its last value, to half the tolerance, it is cut off.
    """
    room = TOLERANCE * float(share.max())
    first = int(np.argmax(share > 0.5 * room))
    last = int(share.size - np.argmax(np.abs(share - share[-1])[::-1] > 0.5 * room))
    begin, end = max(first - 1, 0), min(last, share.size - 1)
    at, share = at[begin : end + 1], share[begin : end + 1].copy()
    top = float(share[-1])
    for count in range(1, at.size):
        heights, off = _fitted((at - at[0]) / (at[-1] - at[0]) * count, share, top, count)
        if off <= room or count * (DEGREE - 1) >= at.size:
            break
    powers = heights @ _to_powers()
    fine = powers @ np.linspace(-1, 1, 65) ** np.arange(DEGREE + 1)[:, None]
    place = np.linspace(at[0], at[-1], 64 * count + 1)
    most = int(np.argmax(np.append(fine[:, :-1], top)))
    largest = float(fine.max())
    return Profile(
        tuple(place[::64].tolist()),
        (*heights[:, 0].tolist(), top),
        tuple(tuple(row) for row in powers.tolist()),
        largest,
        float(place[-1] if top >= largest - room else place[most]),
    )


def _fitted(along: Array, share: Array, top: float, count: int) -> tuple[Array, float]:
    """Bernstein coefficients (count, DEGREE + 1) of pieces of length 1 through points; the largest miss."""
    spread, fixed = _joined(count)
    piece = np.clip(np.floor(along).astype(int), 0, count - 1)
    basis = _bernstein(along - piece)
    rows = np.zeros((along.size, count, DEGREE + 1))
    rows[np.arange(along.size), piece] = basis
    whole = rows.reshape(along.size, -1)
    matrix, goal = whole @ spread, share - top * (whole @ fixed)
    weight = np.ones(along.size)
    found, off = np.zeros(matrix.shape[1]), np.inf
    for _ in range(ROUNDS):
        free = _not_negative(matrix * np.sqrt(weight)[:, None], goal * np.sqrt(weight))
        miss = np.abs(matrix @ free - goal)
        if miss.max() < off:
            found, off = free, float(miss.max())
        if off > 4 * TOLERANCE * share.max():
            break
        weight *= miss + 0.05 * miss.max() + 1e-12
        weight /= weight.mean()
    return (spread @ found + top * fixed).reshape(count, DEGREE + 1), off


def _not_negative(matrix: Array, goal: Array) -> Array:
    """Least squares without the unknowns that come out negative."""
    kept = np.ones(matrix.shape[1], bool)
    found = np.zeros(matrix.shape[1])
    rows = np.asarray(
        np.linalg.qr(np.column_stack([matrix, goal]), mode="r")
    )  # the same problem in fewer rows
    while kept.any():
        part = least_squares(rows[:, np.append(kept, True)])
        found[:] = 0.0
        found[kept] = np.maximum(part, 0.0)
        if (part >= 0).all():
            break
        kept[kept] = part > 0
    return found


def least_squares(rows: Array) -> Array:
    """Unknowns (n,) of an overdetermined system with its goal in the last column.

    By QR: quicker than by singular values, and closer where points weigh very unlike.
    """
    unknowns = rows.shape[1] - 1
    triangle = np.asarray(np.linalg.qr(rows, mode="r"))[:unknowns]
    steps = np.abs(np.diagonal(triangle))
    if steps.size < unknowns or steps.min() <= RANK * steps.max():  # more unknowns than points tell
        return np.asarray(np.linalg.lstsq(rows[:, :-1], rows[:, -1], rcond=None)[0])
    found: Array = np.linalg.solve(triangle[:, :-1], triangle[:, -1])
    return found


def _joined(count: int) -> tuple[Array, Array]:
    """All coefficients, flat, from the free ones (matrix) and from the last value (vector).

    Free are those inside each piece, but for the first, which is 0 as the start is, and the last, which is
    the last value as the end is.
    """
    inner = DEGREE - 1
    every = np.zeros((count, DEGREE + 1, count * inner))
    for i in range(count):
        every[i, 1:-1, i * inner : (i + 1) * inner] = np.eye(inner)
    for i in range(count - 1):
        every[i, -1] = every[i + 1, 0] = (every[i, -2] + every[i + 1, 1]) / 2
    every[-1, -1] = every[-1, -2]
    flat = every.reshape(-1, count * inner)
    return flat[:, 1:-1], flat[:, -1]


def _bernstein(z: Array) -> Array:
    """Bernstein polynomials (n, DEGREE + 1) at z (n,) from 0 to 1."""
    number = np.arange(DEGREE + 1)
    binomial = np.array([comb(DEGREE, k) for k in number])
    found: Array = binomial * z[:, None] ** number * (1 - z[:, None]) ** (DEGREE - number)
    return found


def _to_powers() -> Array:
    """Matrix from Bernstein coefficients to those of the powers of -1 to 1."""
    half, rest = np.polynomial.Polynomial([0.5, 0.5]), np.polynomial.Polynomial([0.5, -0.5])
    return np.array([(comb(DEGREE, k) * half**k * rest ** (DEGREE - k)).coef for k in range(DEGREE + 1)])
