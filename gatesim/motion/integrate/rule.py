"""Polynomials through the nodes of Radau's quadrature: their slopes, integrals and highest coefficients."""

from dataclasses import dataclass
from functools import cache

import numpy as np

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class Rule:
    """Polynomials through nodes (k,) from 0 to 1, the last of which is 1.

    slopes: matrix (k, k) from values to slopes at the nodes; weights: (k,) of the integral; at_zero: (k,) of
    the value at 0; highest: (3, k) of the coefficients of the three highest Chebyshev polynomials, of which
    the last has ``steepest`` as its largest slope.
    """

    nodes: Array
    slopes: Array
    weights: Array
    at_zero: Array
    highest: Array
    steepest: float

    @classmethod
    def radau(cls, count: int) -> "Rule":
        """With the nodes of Radau's quadrature."""
        nodes = radau_nodes(count)
        at_zero = np.asarray(np.linalg.solve(_powers(nodes, count), (-1.0) ** np.arange(count)), float)
        table = np.polynomial.chebyshev.chebvander(2 * nodes - 1, count - 1)
        highest = np.asarray(np.linalg.inv(table)[-3:], float)
        return cls(nodes, differentiation(nodes), quadrature(nodes), at_zero, highest, 2.0 * (count - 1) ** 2)


@cache
def radau_nodes(count: int) -> Array:
    """Roots of P_(k-1) - P_k on [0, 1], P the Legendre polynomials: (k,)."""
    roots = np.polynomial.legendre.Legendre([0.0] * (count - 1) + [1.0, -1.0]).roots()
    nodes = (np.sort(np.asarray(roots, float)) + 1) / 2
    nodes[-1] = 1.0
    nodes.flags.writeable = False
    return nodes


def differentiation(points: Array) -> Array:
    """Matrix (k, k) from values at points (k,) to slopes there (barycentric formula)."""
    gaps = points[:, None] - points + np.eye(len(points))
    weights = 1 / gaps.prod(axis=1)
    matrix: Array = weights / weights[:, None] / gaps
    np.fill_diagonal(matrix, 0.0)
    np.fill_diagonal(matrix, -matrix.sum(axis=1))
    return matrix


def quadrature(points: Array) -> Array:
    """Weights (k,) of the integral from 0 to 1 of the polynomial through points (k,)."""
    count = points.size
    exact = np.where(np.arange(count) % 2 == 0, 1 / np.arange(1, count + 1), 0.0)
    return np.asarray(np.linalg.solve(_powers(points, count), exact), float)


def _powers(points: Array, count: int) -> Array:
    """Powers (count, k) of -1 to 1."""
    powers: Array = (2 * points - 1) ** np.arange(count)[:, None]
    return powers
