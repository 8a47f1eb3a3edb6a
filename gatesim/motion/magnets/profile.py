"""Drag along the path: what part of the full drag acts while a part runs into the magnets and out of them.

At low speed, exactly in three dimensions: with no current through the part's ends, the potential in a part
from 0 to L is a sum of cos(n pi x/L), each of which is the problem of section.py at k = n pi/L. At high
speed the currents trail behind the magnets by about v/v_c of a magnet's length; that is left out.
"""

from dataclasses import replace
from functools import lru_cache
from math import ceil, floor, pi

import numpy as np

from gatesim.ground.arrays import Array
from gatesim.motion.magnets.field import still
from gatesim.motion.magnets.mesh import mesh_of
from gatesim.motion.magnets.pieces import Profile, smooth
from gatesim.motion.magnets.section import Section
from gatesim.motion.magnets.shapes import Bar, Blocks

MOST = 1500
"""Steps along a row, if it is long: then what single magnets add is told less finely."""

CELLS = 2e7
"""Most values of the drive that are held at once, beyond 60 positions of the part: else fewer positions."""


@lru_cache(maxsize=64)
def profile(blocks: Blocks, bar: Bar, length: float) -> Profile:
    """Profile of a part of this length (m); 1 is the drag of an endless one."""
    at, share = running_in(blocks, bar, length)
    return smooth(at, share)


def reach(blocks: Blocks) -> float:
    """Distance in m from a magnet beyond which its field brakes no more (1 % of b and less)."""
    return 0.75 * max(blocks.length, blocks.width) + 3 * blocks.gap


def running_in(blocks: Blocks, bar: Bar, length: float) -> tuple[Array, Array]:
    """Positions of the leading end (n,) from the magnets' first edge, up to the middle; share of b (n,)."""
    far = reach(blocks)
    step = max(min(blocks.length / 12, blocks.gap / 1.5), (blocks.extent + far) / MOST)
    if blocks.count > 1:
        step = blocks.pitch / ceil(blocks.pitch / step)
    section = Section(mesh_of(narrowed(blocks, bar), blocks, 0.8))
    endless = ceil((blocks.extent + 2 * far) / step)
    points = min(max(4, round(length / step)), endless)
    part = points * step
    middle = (blocks.extent + part) / 2
    ends = np.arange(ceil((middle + far) / step) + 1)
    spacing = max(1, ends.size // 60)
    if blocks.count > 1:  # what each magnet adds is to be seen
        room = max(60, int(CELLS / (points * section.mesh.faces.area.size)))
        spacing = min(spacing, max(1, int(blocks.pitch / step / 12), ceil(ends.size / room)))
    ends = ends[::spacing]
    # the row's field as a part meets it: every position of the part is a whole number of steps
    drive = _driven(section, blocks, bar, -far - part, ends[-1] + points, step)
    power = _power(section, [drive[end : end + points] for end in ends], part)
    full = power[-1]
    if points < endless:
        full = _power(section, [_driven(section, blocks, bar, -far, endless, step)], endless * step)[0]
    at, share = -far + step * ends, power / full
    last = np.interp(middle, at, share)
    inside = at < middle - step / 2
    return np.append(at[inside], middle), np.append(share[inside], last)


def _driven(section: Section, blocks: Blocks, bar: Bar, start: float, points: int, step: float) -> Array:
    """The row's drive (points, F) on the faces of a bar, at steps along the path from ``start``.

    Magnets are a whole number of steps apart, and act within three times their reach.
    """
    before = ceil(3 * reach(blocks) / step)
    around = before + ceil((blocks.length + 3 * reach(blocks)) / step)
    first = floor(start / step)
    x = np.asarray(start + step * (np.arange(around) - before - first + 0.5), float)
    one = section.drive(*still(blocks, bar.height, x, section.mesh.at))
    apart = round(blocks.pitch / step)
    drive = np.zeros((points, section.mesh.faces.area.size))
    for i, pole in enumerate(blocks.poles()):
        begin = i * apart - before - first
        low, high = max(0, begin), min(points, begin + around)
        if low < high:
            drive[low:high] += pole * one[low - begin : high - begin]
    return drive


def narrowed(blocks: Blocks, bar: Bar) -> Bar:
    """The bar without what lies far beside the magnets."""
    return replace(bar, width=min(bar.width, blocks.width + 4 * (blocks.length + blocks.gap)))


def _power(section: Section, drives: list[Array], length: float) -> Array:
    """Power over v^2 (m,) for m drives (points, F) along a part of this length (m)."""
    points = len(drives[0])
    waves = np.stack([cosines(drive) for drive in drives])
    total = np.zeros(len(drives))
    for n in range(points):
        here = waves[:, n]
        if n and np.sum(here**2) < 1e-6 * np.sum(waves[:, 1] ** 2 + waves[:, 0] ** 2):
            continue
        total += section.slow_by_modes(here.T, n * pi / length)
    power: Array = total * length / points
    return power


def cosines(values: Array) -> Array:
    """Orthonormal cosine transform (DCT-II) of values (n, k) over the first axis.

    By a Fourier transform of the values in another order (Makhoul, IEEE Trans. ASSP 28 (1980) 27, from
    memory); here because scipy.fft takes longer to load than the brake of a single magnet to compute.
    """
    number = len(values)
    half = np.fft.rfft(np.concatenate([values[::2], values[1::2][::-1]]), axis=0)
    half *= (np.exp(-0.5j * pi / number * np.arange(len(half))) * np.sqrt(2 / number))[:, None]
    half[0] /= np.sqrt(2)
    return np.concatenate([half.real, -half.imag[1 : (number + 1) // 2][::-1]])
