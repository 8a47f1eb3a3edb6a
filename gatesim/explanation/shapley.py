"""Sharing a result among causes so that no order of looking at them is preferred."""

from math import comb

import numpy as np

from gatesim.ground.arrays import Array


def shapley(values: Array) -> Array:
    """Shares (k,) of k causes, from the results ``values`` (2^k,) of all their combinations.

    Index of a combination: bit i is set where cause i is present. Each share is the mean of
    what its cause adds, over all orders in which the causes could be let in; the shares add
    up to values[-1] - values[0], and renaming the causes renames the shares and nothing else
    (L. S. Shapley, A value for n-person games, 1953). NaN spreads to the shares it touches.
    """
    k = values.size.bit_length() - 1
    masks = np.arange(values.size)
    present = (masks[:, None] >> np.arange(k)) & 1
    size = present.sum(axis=1)
    # a combination of s others comes before the cause in s! (k-1-s)! of the k! orders
    weight = np.array([1.0 / (k * comb(k - 1, s)) for s in range(k)])
    shares = np.empty(k)
    for cause in range(k):
        without = masks[present[:, cause] == 0]
        shares[cause] = weight[size[without]] @ (values[without | (1 << cause)] - values[without])
    return shares
