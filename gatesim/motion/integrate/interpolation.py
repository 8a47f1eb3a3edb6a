"""Position at any time, from points of the motion."""

import numpy as np

from gatesim.ground.arrays import Array


def points(
    nodes: tuple[Array, Array, Array], *extra: tuple[Array, Array, Array]
) -> tuple[Array, Array, Array]:
    """Times, positions, speeds (n, k) of nodes and extra points (n,) each, in order of time, NaN last."""
    time, position, speed = (
        np.concatenate([whole, *(point[i][:, None] for point in extra)], axis=1)
        for i, whole in enumerate(nodes)
    )
    order = np.argsort(time, axis=1, kind="stable")
    time, position, speed = (np.take_along_axis(values, order, axis=1) for values in (time, position, speed))
    return time, position, speed


def hermite(t: Array, time: Array, position: Array, speed: Array) -> Array:
    """Position (n, k) at times t (n, k) between points (n, m) in order of time; NaN outside them.

    Cubic through positions and speeds at both ends of each stretch: exact under constant
    acceleration, else with an error of the fourth order in the stretch's duration.
    """
    index = np.full(t.shape, -1)
    for column in time.T:
        index += t >= column[:, None]
    inside = (index >= 0) & (t <= np.nanmax(time, axis=1)[:, None])
    last = np.count_nonzero(~np.isnan(time), axis=1) - 1
    index = np.clip(index, 0, np.maximum(last - 1, 0)[:, None])
    t0, x0, v0 = (np.take_along_axis(values, index, axis=1) for values in (time, position, speed))
    index = np.minimum(index + 1, time.shape[1] - 1)
    t1, x1, v1 = (np.take_along_axis(values, index, axis=1) for values in (time, position, speed))
    span = t1 - t0
    with np.errstate(divide="ignore", invalid="ignore"):  # two points at one time
        s = np.where(span > 0, (t - t0) / span, 0.0)
    rest = 1 - s
    x = rest**2 * ((1 + 2 * s) * x0 + s * span * v0) + s**2 * ((1 + 2 * rest) * x1 - rest * span * v1)
    return np.where(inside, x, np.nan)
