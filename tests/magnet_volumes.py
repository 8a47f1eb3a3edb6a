"""Eddy currents at low speed in three dimensions: finite volumes on the field of an independent library.

In the moving part J = sigma (v x B - grad phi) with no current through its surface, so that
div grad phi = div (v x B) inside; the braking power is the integral of J^2/sigma. Unlike the package,
this works in real space, with the field of magpylib (which the package does not use), and solves
all three dimensions at once.
"""

import magpylib
import numpy as np
from scipy.sparse import coo_matrix, csr_matrix, diags
from scipy.sparse.linalg import splu


def row(size, gap, *, count=1, pitch=0.0, alternating=True, both_sides=False, depth=0.0, remanence=1.2):
    """Blocks above z = 0, the first with its edge at x = 0; sizes in m."""
    along, across, height = size
    magnets = []
    for i in range(count):
        pole = -remanence if alternating and i % 2 else remanence
        levels = [gap + height / 2] + ([-depth - gap - height / 2] if both_sides else [])
        for level in levels:
            magnet = magpylib.magnet.Cuboid(polarization=(0, 0, pole), dimension=(along, across, height))
            magnets.append(magnet.move((i * pitch + along / 2, 0, level)))
    return magpylib.Collection(*magnets)


def cartesian(x, y, z, inside=None):
    """Cells and faces between grid lines x, y, z (m); inside(y, z) selects cells of the section."""
    middle = [(line[1:] + line[:-1]) / 2 for line in (x, y, z)]
    size = [np.diff(line) for line in (x, y, z)]
    shape = tuple(len(each) for each in middle)
    mask = np.ones(shape, bool)
    if inside is not None:
        mask[:] = inside(middle[1][:, None], middle[2][None, :])[None]

    def place(p, q, r):
        return np.stack(np.broadcast_arrays(p, q, r), axis=-1)

    directions = np.eye(3)
    return _faces(mask, (x, y, z), middle, size, place, lambda axis, *at: directions[axis], lambda *at: 1.0)


def cylindrical(x, angle, r, axis_depth, inside=None):
    """The same about an axis at z = -axis_depth: angles from the top, all around; radii r (m)."""
    middle = [(line[1:] + line[:-1]) / 2 for line in (x, angle, r)]
    size = [np.diff(line) for line in (x, angle, r)]
    mask = np.ones(tuple(len(each) for each in middle), bool)

    def place(p, q, r):
        return np.stack(np.broadcast_arrays(p, r * np.sin(q), r * np.cos(q) - axis_depth), axis=-1)

    def direction(axis, p, q, r):
        zero = np.zeros(np.broadcast(p, q, r).shape)
        if axis == 0:
            return np.stack([zero + 1, zero, zero], axis=-1)
        if axis == 1:
            return np.stack([zero, np.cos(q) + zero, -np.sin(q) + zero], axis=-1)
        return np.stack([zero, np.sin(q) + zero, np.cos(q) + zero], axis=-1)

    return _faces(mask, (x, angle, r), middle, size, place, direction, lambda p, q, r: r, wrap=True)


def _faces(mask, lines, middle, size, place, direction, stretch, wrap=False):
    """(points, normals, areas, distances, low and high cell, number of cells); stretch: metres per radian."""
    number = np.full(mask.shape, -1)
    number[mask] = np.arange(mask.sum())
    pieces = []
    for axis in range(3):
        count = mask.shape[axis]
        around = wrap and axis == 1
        low = np.arange(count if around else count - 1)
        high = (low + 1) % count
        at = list(middle)
        at[axis] = lines[axis][low + 1]
        apart = size[axis] if around else middle[axis][1:] - middle[axis][:-1]
        index = [slice(None)] * 3
        index[axis] = low
        below = number[tuple(index)]
        index[axis] = high
        above = number[tuple(index)]
        grid = np.meshgrid(*at, indexing="ij")
        scale = np.broadcast_to(stretch(*grid), grid[0].shape)
        lengths = [np.array(each) for each in size]
        lengths[axis] = apart
        steps = list(np.meshgrid(*lengths, indexing="ij"))
        steps[1] = steps[1] * scale
        area = np.prod([steps[other] for other in range(3) if other != axis], axis=0)
        keep = (below >= 0) & (above >= 0)
        normal = np.broadcast_to(direction(axis, *grid), (*grid[0].shape, 3))
        pieces.append(
            (place(*grid)[keep], normal[keep], area[keep], steps[axis][keep], below[keep], above[keep])
        )
    return (*(np.concatenate(part) for part in zip(*pieces, strict=True)), int(mask.sum()))


def coefficient(mesh, magnets, conductivity):
    """Low-speed coefficient b in kg/s of the meshed part, at rest where it is meshed."""
    point, normal, area, apart, low, high, cells = mesh
    field = magnets.getB(point)
    force = -normal[:, 1] * field[:, 2] + normal[:, 2] * field[:, 1]  # normal . (e_x x B)
    column = np.arange(low.size)
    flow = coo_matrix(
        (np.r_[np.ones(low.size), -np.ones(low.size)], (np.r_[low, high], np.r_[column, column])),
        shape=(cells, low.size),
    )
    flow = csr_matrix(flow)
    conductance = area / apart
    matrix = (flow @ diags(conductance) @ flow.T).tolil()
    matrix[0, 0] *= 2  # the potential's constant is free
    drive = area * force
    potential = splu(matrix.tocsc(), permc_spec="MMD_AT_PLUS_A", options={"SymmetricMode": True}).solve(
        flow @ drive
    )
    current = drive - conductance * (flow.T @ potential)
    return conductivity * float(np.sum(current**2 * apart / area))


def lines(edges, counts):
    """Grid lines: ``counts`` equal cells between one edge and the next."""
    pieces = [np.linspace(a, b, n + 1)[1:] for a, b, n in zip(edges[:-1], edges[1:], counts, strict=True)]
    return np.concatenate([[edges[0]], *pieces])
