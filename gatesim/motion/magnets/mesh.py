"""Finite volumes over the cross-section of a bar that is symmetric about its middle plane, y >= 0 of it.

Currents across the section live on the faces between cells; what flows along the bar follows from their
divergence. z = 0 is the surface under the magnets, the bar lies below it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from math import pi

import numpy as np
from numpy.typing import NDArray

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.shapes import Bar, Blocks

Place = Callable[[Array, Array, Array, Array], tuple[Array, Array, Array]]
"""From grid coordinates and steps (n,) to points (n, 2), directions of p (n, 2), edges in m (n, 2)."""

Faces = tuple[Array, Array, Array, Array, NDArray[np.intp], NDArray[np.intp]]


@dataclass(frozen=True)
class Patches:
    """Rectangles: centre (n, 2) as (y, z), unit vector of the first edge (n, 2), half edges (n, 2); in m."""

    centre: Array
    along: Array
    half: Array

    @property
    def area(self) -> Array:
        """Areas (n,) in m^2."""
        area: Array = 4 * self.half[:, 0] * self.half[:, 1]
        return area

    def mirrored(self) -> "Patches":
        """Their images at y < 0."""
        flip = np.array([-1.0, 1.0])
        return Patches(self.centre * flip, self.along * flip, self.half)


@dataclass(frozen=True)
class Mesh:
    """Cells and faces of half a cross-section.

    cells: patches of the N cells. faces: patches of the F faces, each the area it stands for; its first
    edge is the face's normal. at: midpoints (F, 2) of the faces. divergence: (N, F), so that
    divergence @ J (A/m^2) is what flows out of each cell across the section, per volume.
    """

    cells: Patches
    faces: Patches
    at: Array
    divergence: Array


def mesh_of(bar: Bar, blocks: Blocks, fineness: float = 1.0) -> Mesh:
    """Mesh of a bar, fine where the field of these magnets changes and at the bar's edges.

    fineness: 2 halves all cells.
    """
    return _polar(bar, blocks, fineness) if bar.round else _rectangular(bar, blocks, fineness)


def _rectangular(bar: Bar, blocks: Blocks, fineness: float) -> Mesh:
    half = bar.width / 2
    scale = min(blocks.gap, blocks.length / 2) / fineness
    edges_y = [0.0, half] if bar.solid else [0.0, half - bar.wall, half]
    edges_z = [0.0, bar.height] if bar.solid else [0.0, bar.wall, bar.height - bar.wall, bar.height]
    fine_y = [half] + ([blocks.width / 2] if blocks.width < bar.width else [])
    fine_z = [0.0, bar.height] if blocks.both_sides or not bar.solid else [0.0]
    y = _graded(edges_y, fine_y, max(scale / 2, half / (24 * fineness)), 0.35 / fineness, 3 * fineness)
    z = _graded(edges_z, fine_z, max(scale / 2, bar.height / (16 * fineness)), 0.35 / fineness, 3 * fineness)
    here_y, here_z = (y[1:] + y[:-1]) / 2, (z[1:] + z[:-1]) / 2
    inside = np.ones((here_y.size, here_z.size), bool)
    if not bar.solid:
        hole_z = (here_z > bar.wall) & (here_z < bar.height - bar.wall)
        inside[np.ix_(here_y < half - bar.wall, hole_z)] = False
    return _assembled(y, -z, inside, _cartesian, closed=False)


def _polar(bar: Bar, blocks: Blocks, fineness: float) -> Mesh:
    """Angles from the point nearest the magnets, radii from the axis or the inner surface."""
    radius = bar.height / 2
    inner = 0.0 if bar.solid else radius - bar.wall
    scale = max(min(blocks.gap, blocks.length / 2) / 2, radius / 24) / fineness
    fine = [0.0, pi] if blocks.both_sides else [0.0]
    angle = _graded([0.0, pi], fine, max(scale / radius, pi / (28 * fineness)), 0.2 / fineness, 12 * fineness)
    r = _graded([inner, radius], [radius], scale, 0.35 / fineness, 3 * fineness)
    inside = np.ones((angle.size - 1, r.size - 1), bool)

    def place(angle: Array, r: Array, across: Array, along: Array) -> tuple[Array, Array, Array]:
        point = np.stack([r * np.sin(angle), r * np.cos(angle) - radius], axis=-1)
        return point, np.stack([np.cos(angle), -np.sin(angle)], axis=-1), np.stack([across * r, along], -1)

    return _assembled(angle, r, inside, place, closed=True)


def _cartesian(y: Array, z: Array, across: Array, along: Array) -> tuple[Array, Array, Array]:
    point = np.stack([y, z], axis=-1)
    return point, np.broadcast_to([1.0, 0.0], point.shape), np.stack([across, along], axis=-1)


def _assembled(p: Array, q: Array, inside: NDArray[np.bool_], place: Place, closed: bool) -> Mesh:
    """Mesh from the lines p and q of a tensor grid.

    The first line of p lies in the plane of symmetry, which currents cross; of a closed section the last
    one does, too.
    """
    number = np.full(inside.shape, -1)
    number[inside] = np.arange(inside.sum())
    mid_p, mid_q = (p[1:] + p[:-1]) / 2, (q[1:] + q[:-1]) / 2
    i, j = np.nonzero(inside)
    centre, along, size = place(mid_p[i], mid_q[j], np.diff(p)[i], np.abs(np.diff(q))[j])
    cells = Patches(centre, along, size / 2)
    pieces = (_across_p(p, q, number, place, closed), _across_q(p, q, number, place))
    centre, along, size, at, low, high = (np.concatenate(part) for part in zip(*pieces, strict=True))
    flow = np.zeros((len(cells.centre), low.size))
    for side, sign in ((low, 1.0), (high, -1.0)):
        column = np.flatnonzero(side >= 0)
        flow[side[column], column] += sign * size[column, 1]
    return Mesh(cells, Patches(centre, along, size / 2), at, flow / cells.area[:, None])


def _across_p(p: Array, q: Array, number: NDArray[np.intp], place: Place, closed: bool) -> Faces:
    """Faces on the lines of p: patches, midpoints, and the cells before and behind (-1: an image)."""
    outside = np.full((1, number.shape[1]), -1)
    low, high = np.vstack([outside, number]), np.vstack([number, outside])
    wanted = (low >= 0) & (high >= 0)
    wanted[0] = high[0] >= 0
    wanted[-1] = (low[-1] >= 0) & closed
    i, j = np.nonzero(wanted)
    middle = (p[1:] + p[:-1]) / 2
    start, stop = np.append(p[0], middle)[i], np.append(middle, p[-1])[i]
    here, length = ((q[1:] + q[:-1]) / 2)[j], np.abs(np.diff(q))[j]
    centre, along, size = place((start + stop) / 2, here, stop - start, length)
    return centre, along, size, place(p[i], here, length, length)[0], low[i, j], high[i, j]


def _across_q(p: Array, q: Array, number: NDArray[np.intp], place: Place) -> Faces:
    """Faces on the inner lines of q: their normals are those of p turned by a right angle."""
    i, j = np.nonzero((number[:, 1:] >= 0) & (number[:, :-1] >= 0))
    middle = (q[1:] + q[:-1]) / 2
    here, width = ((p[1:] + p[:-1]) / 2)[i], np.diff(p)[i]
    centre, along, size = place(
        here, (middle[j] + middle[j + 1]) / 2, width, np.abs(middle[j + 1] - middle[j])
    )
    at, _, length = place(here, q[j + 1], width, width)
    normal = np.stack([-along[:, 1], along[:, 0]], axis=-1) * np.sign(q[-1] - q[0])
    size = np.stack([size[:, 1], length[:, 0]], axis=-1)
    return centre, normal, size, at, number[i, j], number[i, j + 1]


def _graded(edges: list[float], fine: list[float], least: float, growth: float, few: float) -> Array:
    """Grid lines that keep to ``edges``: ``least`` apart at ``fine``, farther by ``growth`` per distance.

    Each stretch between two edges has ``few`` cells at least.
    """
    lines = [np.array(edges[:1])]
    for low, high in pairwise(edges):
        at = np.linspace(low, high, 401)
        away = np.min([np.abs(at - point) for point in fine], axis=0)
        density = 1 / (least + growth * away)
        count = np.concatenate([[0.0], np.cumsum((density[1:] + density[:-1]) / 2 * np.diff(at))])
        number = max(round(few), round(count[-1]))
        lines.append(np.interp(np.linspace(0, count[-1], number + 1), count, at)[1:])
    return np.concatenate(lines)
