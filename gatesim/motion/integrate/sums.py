"""Weighted sums over stages or nodes, the same bits for any number of trials."""

import numpy as np

from gatesim.ground.arrays import Array


def weighted(weights: Array, values: Array, out: Array | None = None) -> Array:
    """Sum of weights (k,) or (m, k) times values (k, n): (n,) or (m, n), into ``out`` if there is one.

    Not a matrix product: BLAS sums in an order that depends on the number of trials. This one
    adds stage after stage for every n but 1, for which it would sum along the stages.
    """
    how = "s,sn->n" if weights.ndim == 1 else "ms,sn->mn"
    if values.shape[1] == 1:
        sums: Array = np.einsum(how, weights, np.repeat(values, 2, axis=1))[..., :1]
        if out is None:
            return sums
        out[:] = sums
        return out
    return np.einsum(how, weights, values, out=out)
