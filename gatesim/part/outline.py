"""The silhouette as pieces of simple half-height: straight, or an arc of an ellipse."""

from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array


@dataclass(frozen=True)
class Straight:
    """Half-height r = ``base`` + ``slope`` * depth, between the depths ``low`` and ``high`` (m).

    ``sign`` is 1 for material, -1 for a hole in it.
    """

    low: float
    high: float
    base: float
    slope: float = 0.0
    sign: float = 1.0

    def reach(self, depth: Array) -> Array:
        """Half-height r in m at depths within the piece."""
        return self.base + self.slope * depth

    def reach_integral(self, depth: Array) -> Array:
        """Integral of r over the depth, up to a constant, in m^2."""
        if np.isinf(self.base):
            return np.zeros(depth.shape)  # nothing reaches so far
        return (self.base + 0.5 * self.slope * depth) * depth

    def depth_of(self, reach: float) -> list[float]:
        """Depths at which the half-height is ``reach``."""
        return [(reach - self.base) / self.slope] if self.slope else [np.nan]

    def meets_circle(self, radius: float, offset: float, travel: Array) -> Array:
        """Where u along a circular beam c = sqrt(radius^2 - u^2) is r(travel - u) give or take ``offset``.

        ``travel`` (k,) -> (k, m), NaN where it is not; places of the other branches of either
        root may be among them. Two roots of a quadratic for each side.
        """
        if np.isinf(self.base):
            return np.full((travel.size, 1), np.nan)
        reach, q = self.base + self.slope * travel, self.slope
        sides = [reach - offset] if offset == 0.0 else [reach - offset, reach + offset]
        square = np.full(travel.shape, 1.0 + q * q)
        with np.errstate(over="ignore"):  # places beyond reason
            return np.hstack([_quadratic(square, -2.0 * p * q, p * p - radius**2) for p in sides])


@dataclass(frozen=True)
class Arc:
    """A quarter of an ellipse, r = ``height`` sqrt(1 - ((depth - ``middle``) / ``length``)^2).

    Functions and fields as those of `Straight`.
    """

    low: float
    high: float
    middle: float
    length: float
    height: float
    sign: float = 1.0

    def _place(self, depth: Array) -> Array:
        place: Array = np.clip((depth - self.middle) / self.length, -1.0, 1.0)
        return place

    def reach(self, depth: Array) -> Array:
        """See `Straight.reach`."""
        return self.height * np.sqrt(1.0 - self._place(depth) ** 2)

    def reach_integral(self, depth: Array) -> Array:
        """See `Straight.reach_integral`."""
        w = self._place(depth)
        area: Array = 0.5 * self.height * self.length * (w * np.sqrt(1.0 - w**2) + np.arcsin(w))
        return area

    def depth_of(self, reach: float) -> list[float]:
        """See `Straight.depth_of`."""
        rest = 1.0 - (reach / self.height) ** 2
        half = self.length * np.sqrt(rest) if rest >= 0.0 else np.nan
        return [self.middle - half, self.middle + half]

    def meets_circle(self, radius: float, offset: float, travel: Array) -> Array:
        """See `Straight.meets_circle`.

        With the beam on the axis a quadratic, else a quartic that holds for both sides:
        r^2 = c^2 + 2 o c + o^2, squared once more.
        """
        ratio = (self.height / self.length) ** 2
        back = (travel - self.middle) / radius  # lengths in radii: the depth less the middle is back - u
        height, off = self.height / radius, offset / radius
        # r^2 - c^2 - o^2 as a polynomial in u
        two = np.full(travel.shape, 1.0 - ratio)
        one = 2.0 * ratio * back
        none = height**2 - ratio * back**2 - 1.0 - off**2
        if offset == 0.0:
            return radius * _quadratic(two, one, none)
        quartic = [
            two * two,
            2.0 * two * one,
            one * one + 2.0 * two * none + 4.0 * off**2,
            2.0 * one * none,
            none * none - 4.0 * off**2,
        ]
        return radius * _real_roots(np.stack(quartic, axis=1))


Piece = Straight | Arc


def _quadratic(a: Array, b: Array, c: Array) -> Array:
    """Both real roots of a u^2 + b u + c, (k, 2); NaN where there are none."""
    with np.errstate(divide="ignore", invalid="ignore"):  # no root, or a straight line
        half = -0.5 * (b + np.copysign(np.sqrt(b * b - 4.0 * a * c), b))
        roots = np.stack([half / a, c / half], axis=1)
    return np.where(np.isfinite(roots), roots, np.nan)


def _real_roots(coefficients: Array) -> Array:
    """Real parts of the roots of quartics (k, 5), highest power first, (k, 4)."""
    companion = np.zeros((len(coefficients), 4, 4))
    companion[:, 1:, :-1] = np.eye(3)
    lead = coefficients[:, :1]
    # a vanishing power has its root at infinity, far outside any beam
    lead = np.where(np.abs(lead) < 1e-12 * np.abs(coefficients).max(axis=1, keepdims=True), 1e-12, lead)
    companion[:, 0, :] = -coefficients[:, 1:] / lead
    # a pair of complex roots is no meeting; dividing at its real part does no harm
    roots = np.linalg.eigvals(companion).real
    return np.asarray(roots, np.float64)
