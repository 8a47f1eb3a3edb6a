"""Acceleration on one span of the path, where every strength is a polynomial in position."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from gatesim.ground.arrays import Array, Flags, Rows, Scalar, take
from gatesim.motion.force.base import Force
from gatesim.motion.integrate.strength import (
    Line,
    Polynomial,
    line_through,
    places,
    polynomial_through,
    within,
)
from gatesim.motion.path import Body, Path


@dataclass(frozen=True)
class Field:
    """Acceleration over speed at some positions: steady + sum of strength law(v); arrays (n,) or (k, n)."""

    steady: Array
    terms: tuple[tuple[Force, Array], ...]

    def acceleration(self, v: Array, i: int | None = None) -> Array:
        """Acceleration in m/s^2 at speeds v, of the shape of the positions, or (n,) at the ``i``-th."""
        total = _row(self.steady, i)
        for force, strength in self.terms:
            part = force.law(v) * _row(strength, i)
            part += total
            total = part
        return total

    def rates(self, v: Array) -> tuple[Array, Array]:
        """Acceleration and its derivative with respect to speed, in 1/s."""
        if not self.terms:
            return np.zeros_like(v) + self.steady, np.zeros_like(v)
        force, strength = self.terms[0]
        total, slope = force.rates(v)
        total = total * strength
        slope = slope * strength
        for force, strength in self.terms[1:]:
            law, its = force.rates(v)
            total += law * strength
            slope += its * strength
        total += self.steady
        return total, slope


def _row(value: Array, i: int | None) -> Array:
    found: Array = value if i is None or value.ndim == 1 else value[i]
    return found


@dataclass(frozen=True)
class Dynamics:
    """Acceleration at distance u into a span and speed v: steady(u) + sum of strength(u) law(v).

    Strengths are divided by the moved mass. A force that acts on no trial is left out; where it
    acts on some, the others add an exact zero, so a trial's bits do not depend on its company.
    """

    steady: Line
    terms: tuple[tuple[Force, Line | Polynomial], ...]

    @property
    def sloped(self) -> bool:
        """Whether the acceleration depends on the position within the span."""
        lines = (self.steady, *(line for _, line in self.terms))
        return any(isinstance(line, Polynomial) or line.slope is not None for line in lines)

    def at(self, u: Array | None) -> Field:
        """What acts at distances u (..., n) (None: 0)."""
        return Field(self.steady.at(u), tuple((force, line.at(u)) for force, line in self.terms))

    def acceleration(self, u: Array | None, v: Array) -> Array:
        """Acceleration (n,) in m/s^2 at distance u (n,) (None: 0) and speed v (n,)."""
        return self.at(u).acceleration(v)

    def rates(self, u: Array | None, v: Array) -> tuple[Array, Array]:
        """Acceleration and its derivative with respect to speed, in 1/s; u and v (..., n)."""
        return self.at(u).rates(v)

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
            level &= line.level()
        return level

    def shifted(self, u: Array) -> "Dynamics":
        """The same field with the span beginning ``u`` (n,) later."""
        return Dynamics(self.steady.shifted(u), tuple((force, line.shifted(u)) for force, line in self.terms))

    def take(self, rows: Rows) -> "Dynamics":
        """Select trials."""
        terms = tuple((take(force, rows), line.take(rows)) for force, line in self.terms)
        return Dynamics(self.steady.take(rows), terms)


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
    terms: list[tuple[Force, Line | Polynomial]] = []
    for force in forces:
        if force.degree > 1:
            x = left + size * (places(force.degree)[0][:, None] + 1) / 2
            values = np.broadcast_to(force.strength(x, part, path), x.shape)
            if values.any():
                terms.append((force, polynomial_through(values, inertia, size)))
            continue
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
