"""Nodes of quadrature, kept."""

from functools import cache

import numpy as np

from gatesim.ground.arrays import Array


@cache
def gauss(number: int) -> tuple[Array, Array]:
    """Nodes and weights of Gauss-Legendre quadrature over -1 to 1: finding takes as long as using them."""
    node, weight = np.polynomial.legendre.leggauss(number)
    node.flags.writeable = weight.flags.writeable = False
    return node, weight
