"""First-order receiver between the light and the comparator."""

import numpy as np

from gatesim.draw import Array
from gatesim.sensor.profile import Run

_LAGS = 9
_EVERY = 4
_SETTLED = 20.0


def receiver_delay(run: Run, share: Array, speed: Array, time_constant: Array) -> Array:
    """Delay (m,) in s of each threshold crossing by a receiver of this time constant.

    tau dy/dt = F(x(t)) - y, F the blocked share, and x moves at the local speed (m/s): y is a
    function of the travel that depends on the lag length speed * tau alone. It is solved
    exactly for a share that is linear between nodes, at a few lag lengths, and interpolated
    between these. The receiver is taken as settled where the stretch begins.
    """
    lag = speed * time_constant
    low, high = float(np.min(lag)), float(np.max(lag))
    if high <= 0.0:
        return np.zeros(share.shape)
    grid = np.unique(np.geomspace(max(low, 1e-3 * high), high, _LAGS))
    late = np.stack([_late(run, length, share) for length in grid])
    if len(grid) == 1:
        return late[0] / speed
    place = np.clip(
        np.interp(np.log(np.maximum(lag, grid[0])), np.log(grid), np.arange(len(grid))), 0.0, None
    )
    below = np.minimum(place.astype(int), len(grid) - 2)
    column = np.arange(share.size)
    weight = (lag - grid[below]) / (grid[below + 1] - grid[below])
    found: Array = (1.0 - weight) * late[below, column] + weight * late[below + 1, column]
    return found / speed


def _late(run: Run, lag: float, share: Array) -> Array:
    """Travel by which the receiver crosses each share later than the light does."""
    travel = np.concatenate([run.travel[:-1:_EVERY], run.travel[-1:]])
    light = np.concatenate([run.share[:-1:_EVERY], run.share[-1:]])
    tail = travel[-1] + lag * np.linspace(0.0, _SETTLED, 200)[1:]
    travel, light = np.concatenate([travel, tail]), np.concatenate([light, np.full(tail.shape, light[-1])])
    step = np.diff(travel)
    decay = np.exp(-step / lag)
    slope = np.diff(light) / step
    signal = np.empty(travel.shape)
    signal[0] = light[0]
    for k, (d, g) in enumerate(zip(decay, slope, strict=True)):
        # exact for a ramp: the signal trails it by slope * lag once settled
        signal[k + 1] = light[k + 1] - g * lag + (signal[k] - light[k] + g * lag) * d
    direction = 1.0 if run.rising else -1.0
    at_light = np.interp(direction * share, direction * run.share, run.travel)
    rising = np.maximum.accumulate(direction * signal)
    late: Array = np.interp(direction * share, rising, travel) - at_light
    return late
