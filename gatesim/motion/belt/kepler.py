"""Kepler's equation for a small eccentricity, without a search: by how much a ripple shifts an event.

delta = e (cos(M + delta) - c), where e is small: Halley's step from zero leaves at most 4/3 e^4, the next one
goes with the cube of that; sine and cosine of so small an angle are their power series. Both
events on a belt whose speed ripples are of that kind. It has moved on by a way at the time at which an even
belt has, but for delta / w; and a part under constant acceleration is as fast as it when it would be as fast
as an even belt, but for delta / w.
"""

import numpy as np

from gatesim.ground.arrays import Array, Scalar

SMALL = 0.07
"""Largest eccentricity that is served, to 1e-15 rad."""


def arrival(
    speed: Scalar, ripple: Scalar, angular: Scalar, phase: Scalar, way: Array, after: Array
) -> tuple[Array, Array]:
    """When a belt past its run-up has moved on by ``way`` (k, n) since ``after`` (n,), and speeds then.

    V (t - t0) - (V r / w) [cos(w t + p) - cos(w t0 + p)] is the way; r at most `SMALL` in size, w not 0.
    """
    even = after + way / speed
    angle = angular * even + phase
    cosine, sine = np.cos(angle), np.sin(angle)
    delta, _, sine = lead(ripple, cosine, sine, np.cos(angular * after + phase))
    return even + delta / angular, speed * (1 + ripple * sine)


def lead(e: Scalar, cosine: Array, sine: Array, less: Scalar = 0.0) -> tuple[Array, Array, Array]:
    """Delta = e (cos(M + delta) - less), from cosine and sine of M; and those of M + delta.

    ``e`` at most `SMALL` in size, ``less`` a cosine.
    """
    slope = 1 + e * sine
    step = e * (cosine - less) / slope
    delta = step / (1 + 0.5 * step * e * cosine / slope)
    c, s = _turned(cosine, sine, delta)
    slope = 1 + e * s
    step = (delta - e * (c - less)) / slope
    step = step / (1 - 0.5 * step * e * c / slope)
    # this step is too small for its square to show
    return delta - step, c + step * s, s - step * c


def _turned(cosine: Array, sine: Array, delta: Array) -> tuple[Array, Array]:
    """Cosine and sine of an angle that is greater by ``delta``, at most 0.16 rad in size."""
    square = delta * delta
    c = 1 - square * (
        1 / 2 - square * (1 / 24 - square * (1 / 720 - square * (1 / 40320 - square / 3628800)))
    )
    s = delta * (1 - square * (1 / 6 - square * (1 / 120 - square * (1 / 5040 - square / 362880))))
    return cosine * c - sine * s, sine * c + cosine * s
