"""Acceleration on one span of the path, where every strength is linear in position."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags, Rows, Scalar, take
from gatesim.motion.force.base import Force
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
class Line:
    """A value (n,) at the start of the span and its slope per metre (n,), None if 0 for all trials."""

    start: Array
    slope: Array | None

    def at(self, u: Array | None) -> Array:
        """Scalar at distance u (n,) into the span (None: at its start)."""
        if self.slope is None or u is None:
            return self.start
        value = self.slope * u
        value += self.start
        return value

    def take(self, rows: Rows) -> "Line":
        """Select trials."""
        return Line(self.start[rows], None if self.slope is None else self.slope[rows])


@dataclass(frozen=True)
class Dynamics:
    """Acceleration at distance u into a span and speed v: steady(u) + sum of strength(u) law(v).

    Strengths are divided by the moved mass. A force that acts on no trial is left out; where it
    acts on some, the others add an exact zero, so a trial's bits do not depend on its company.
    """

    steady: Line
    terms: tuple[tuple[Force, Line], ...]

    @property
    def sloped(self) -> bool:
        """Whether the acceleration depends on the position within the span."""
        return self.steady.slope is not None or any(line.slope is not None for _, line in self.terms)

    def acceleration(self, u: Array | None, v: Array) -> Array:
        """Acceleration (n,) in m/s^2 at distance u (n,) (None: 0) and speed v (n,)."""
        total = self.steady.at(u)
        for force, line in self.terms:
            part = force.law(v) * line.at(u)
            part += total
            total = part
        return total

    def rates(self, u: Array | None, v: Array) -> tuple[Array, Array]:
        """Acceleration and its derivative with respect to speed, in 1/s; u and v (..., n)."""
        total = np.zeros_like(v) + self.steady.at(u)
        slope = np.zeros_like(v)
        for force, line in self.terms:
            strength = line.at(u)
            total += force.law(v) * strength
            slope += force.slope(v) * strength
        return total, slope

    def uniform(self) -> Flags:
        """Trials (n,) whose acceleration is one constant on the whole span."""
        same = self.level()
        for _, line in self.terms:
            same &= line.start == 0
        return same

    def alone(self) -> Iterator[tuple[Flags, Force, Array]]:
        """Each force with its strength (n,) and the trials (n,) on which only it depends on speed.

        Only those whose acceleration does not depend on the position within the span.
        """
        level = self.level()
        for chosen, line in self.terms:
            rows = level & (line.start != 0)
            for other, its in self.terms:
                if other is not chosen:
                    rows &= its.start == 0
            yield rows, chosen, line.start

    def level(self) -> Flags:
        """Trials (n,) whose acceleration does not depend on the position within the span."""
        level = np.ones(self.steady.start.shape, bool)
        for line in (self.steady, *(line for _, line in self.terms)):
            if line.slope is not None:
                level &= line.slope == 0
        return level

    def shifted(self, u: Array) -> "Dynamics":
        """The same field with the span beginning ``u`` (n,) later."""
        terms = tuple((force, Line(line.at(u), line.slope)) for force, line in self.terms)
        return Dynamics(Line(self.steady.at(u), self.steady.slope), terms)

    def take(self, rows: Rows) -> "Dynamics":
        """Select trials."""
        terms = tuple((take(force, rows), line.take(rows)) for force, line in self.terms)
        return Dynamics(self.steady.take(rows), terms)


def within(left: Array, size: Array) -> tuple[Array, Array]:
    """Quarter points of spans: not their ends, where a strength that jumps at a kink has no value."""
    return left + 0.25 * size, left + 0.75 * size


def line_through(at_near: Scalar, at_far: Scalar, inertia: Scalar, size: Array) -> Line:
    """What is linear on spans, from its values at the quarter points, divided by ``inertia``."""
    start = np.broadcast_to(np.asarray(at_near / inertia), size.shape)
    change = at_far - at_near
    if not np.any(change):
        return Line(start, None)
    with np.errstate(divide="ignore", invalid="ignore"):  # spans of no size have no slope
        slope = np.where(size > 0, change * 2 / (size * inertia), 0.0)
    return Line(start - slope * (0.25 * size), slope)


def dynamics_between(
    part: Body,
    path: Path,
    forces: tuple[Force, ...],
    drive: Callable[[Array], Scalar],
    left: Array,
    size: Array,
) -> Dynamics:
    """Acceleration on the spans from ``left`` over ``size`` (n,), none of which has a kink inside.

    drive: the part's weight along the path less friction, in N, at positions (n,).
    """
    near, far = within(left, size)
    inertia = part.mass * (1 + part.inertia_factor)
    for force in forces:
        inertia = inertia + force.added_mass(near)

    def line(at_near: Scalar, at_far: Scalar) -> Line:
        return line_through(at_near, at_far, inertia, size)

    steady_near, steady_far = drive(near), drive(far)
    terms = []
    for force in forces:
        at_near, at_far = force.strength(near, part, path), force.strength(far, part, path)
        if force.steady:
            steady_near, steady_far = steady_near + at_near, steady_far + at_far
        elif np.any(at_near) or np.any(at_far):
            terms.append((force, line(at_near, at_far)))
    return Dynamics(line(steady_near, steady_far), tuple(terms))


def total_acceleration(part: Body, path: Path, forces: tuple[Force, ...], x: Array, v: Array) -> Array:
    """Acceleration (n,) at any position x and speed v (n,), off the kinks, without a belt."""
    total = np.zeros_like(x) + path.weight(part.mass) - path.resistance(part.mass)
    inertia = np.zeros_like(x) + part.mass * (1 + part.inertia_factor)
    for force in forces:
        total = total + force.strength(x, part, path) * force.law(v)
        inertia = inertia + force.added_mass(x)
    return total / inertia
