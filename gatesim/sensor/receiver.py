"""First-order receiver between the light and the comparator."""

from functools import lru_cache

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.sensor.profile import Run

_PER_OCTAVE = 8
_LEAST = -30.0 * _PER_OCTAVE
"""Place of a lag length of 1 nm, below which it is late by the lag alone."""
_EVERY = 2
_NEVER = 1e-15
"""Share that is taken as missing where the threshold is the very end of the stretch."""


def receiver_delay(run: Run, share: Array, speed: Array, time_constant: Array) -> Array:
    """Delay (m,) in s of each threshold crossing by a receiver of this time constant.

    tau dy/dt = F(x(t)) - y, F the blocked share, and x moves at the local speed (m/s): y is a
    function of the travel that depends on the lag length speed * tau alone. It is solved
    exactly for a share that is linear between nodes, at lag lengths of a fixed geometric
    series, and interpolated between these (cubic in the logarithm). The receiver is taken as
    settled where the stretch begins, which holds if the one before lasts several time
    constants. NaN where the next stretch begins before the receiver has crossed the threshold.
    """
    lag = speed * time_constant
    delayed = np.flatnonzero(lag > 0.0)
    delay = np.zeros(share.shape)
    if not delayed.size:
        return delay
    lag, share = lag[delayed], share[delayed]
    late = lag * _lags(run, share, lag)
    if not run.last:
        late = np.where(run.reached(share) + late > run.travel[-1], np.nan, late)
    delay[delayed] = late / speed[delayed]
    return delay


def _lags(run: Run, share: Array, lag: Array) -> Array:
    """Travel (m,), in lag lengths, by which the receiver crosses each share late."""
    travel, light = _nodes(run)
    if travel[0] == travel[-1]:  # the light jumps: y nears it exponentially
        late: Array = -np.log((light[-1] - share) / (light[-1] - light[0]))
        return late
    place = np.maximum(_PER_OCTAVE * np.log2(lag), _LEAST)
    below = np.floor(place).astype(int)
    first = int(below.min()) - 1
    table = np.stack([_late(run, number) for number in range(first, int(below.max()) + 3)])
    return _between(table, below - first, place - below, light, share, rising=run.rising)


def _nodes(run: Run) -> tuple[Array, Array]:
    """Travels and shares while the share changes: what is flat after it is solved by itself."""
    end = int(np.flatnonzero(run.share != run.share[-1])[-1]) + 1
    travel, share = run.travel[: end + 1], run.share[: end + 1]
    return np.append(travel[:-1:_EVERY], travel[-1]), np.append(share[:-1:_EVERY], share[-1])


def _between(table: Array, row: Array, weight: Array, nodes: Array, share: Array, *, rising: bool) -> Array:
    """Interpolate the table: cubic (Lagrange) over its rows, straight over its columns."""
    same = bool((share == share[0]).all())
    share = share[:1] if same else share
    way = 1.0 if rising else -1.0
    right = np.clip(np.searchsorted(way * nodes, way * share), 1, len(nodes) - 1)
    step = nodes[right] - nodes[right - 1]
    part = np.where(step == 0.0, 0.0, (share - nodes[right - 1]) / np.where(step == 0.0, 1.0, step))
    t = weight
    lagrange = (
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    )
    if same:
        column = (1.0 - part) * table[:, right[0] - 1] + part * table[:, right[0]]
    late = np.zeros(weight.shape)
    for shift, factor in enumerate(lagrange, start=-1):
        at = row + shift
        late += factor * (
            column[at] if same else (1.0 - part) * table[at, right - 1] + part * table[at, right]
        )
    return late


@lru_cache(maxsize=256)
def _late(run: Run, number: int) -> Array:
    """Travel, in lag lengths, by which a receiver of that lag crosses the share at each node late."""
    lag = 2.0 ** (number / _PER_OCTAVE)
    travel, light = _nodes(run)
    signal = _lagging(travel, light, lag)
    way = 1.0 if run.rising else -1.0
    reached = np.interp(way * light, np.maximum.accumulate(way * signal), travel)
    # past the last change the signal nears the light exponentially
    later = way * light > way * signal[-1]
    missing = np.maximum(np.abs(light[-1] - light[later]), _NEVER)
    reached[later] = travel[-1] + lag * np.log(np.abs(light[-1] - signal[-1]) / missing)
    late: Array = (reached - travel) / lag
    return late


def _lagging(travel: Array, light: Array, lag: float) -> Array:
    """Signal of the receiver at the nodes, settled at the first one."""
    step = np.diff(travel)
    decay = np.exp(-step / lag).tolist()
    behind = (np.diff(light) / step * lag).tolist()
    values = light.tolist()
    signal = [values[0]]
    for k, (d, g) in enumerate(zip(decay, behind, strict=True)):
        # exact for a ramp: the signal trails it by slope * lag once settled
        signal.append(values[k + 1] - g + (signal[k] - values[k] + g) * d)
    return np.array(signal)
