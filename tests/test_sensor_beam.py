"""Blocked share of a beam against closed forms, quadrature and polygon clipping."""

from itertools import pairwise

import numpy as np
import pytest
import shapely
from scipy.integrate import quad

from gatesim.part import ChamferedEnd, Hole, Notch, Part, RoundEnd, SquareEnd
from gatesim.sensor import CircularBeam, SlitBeam, blocked_fraction

POLYGON = 8192  # sides of the polygon that stands for a circle: its area is short by 1e-7


def random_end(rng, height):
    shape = rng.choice(["square", "chamfer", "cone", "round"])
    if shape == "square":
        return SquareEnd()
    tip = rng.uniform(0.0, 0.9) * height if shape == "chamfer" else 0.0
    length = rng.uniform(0.5e-3, 6e-3)
    return RoundEnd(length) if shape == "round" else ChamferedEnd(length, tip)


def random_part(rng):
    """A part of 30 mm with two random ends, and a notch, a hole, both or neither between them."""
    height = rng.uniform(1e-3, 12e-3)
    openings = []
    if rng.random() < 0.6:
        kind = {"notch": Notch, "hole": Hole}[str(rng.choice(["notch", "hole"]))]
        openings.append(kind(rng.uniform(7e-3, 10e-3), rng.uniform(0.3e-3, 4e-3), 0.4 * height))
    if rng.random() < 0.5:
        openings.append(Notch(rng.uniform(15e-3, 17e-3), rng.uniform(0.3e-3, 4e-3)))
    return Part(0.03, height=height, front=random_end(rng, height), rear=random_end(rng, height),
                openings=tuple(openings))  # fmt: skip


def random_beam(rng):
    offset = float(rng.choice([0.0, rng.uniform(-4e-3, 4e-3)]))
    if rng.random() < 0.5:
        diameter = rng.uniform(0.3e-3, 8e-3)
        return CircularBeam(diameter, offset)
    return SlitBeam(rng.uniform(0.2e-3, 4e-3), rng.uniform(0.5e-3, 10e-3), offset)


def end_profile(end, full, depth):
    """Half-height at a depth behind the tip, written out anew."""
    if isinstance(end, SquareEnd) or depth >= end.length:
        return full
    s = depth / end.length
    if isinstance(end, RoundEnd):
        return full * np.sqrt(max(0.0, 1.0 - (1.0 - s) ** 2))
    return 0.5 * end.tip_height * (1.0 - s) + full * s


def half_height(part, depth):
    full = 0.5 * part.height
    if not 0.0 <= depth <= part.length:
        return 0.0
    r = min(end_profile(part.front, full, depth), end_profile(part.rear, full, part.length - depth))
    for o in part.openings:
        if isinstance(o, Notch) and o.start <= depth <= o.start + o.length:
            r = max(0.0, full - o.height)
    return r


def polygon(part):
    """The silhouette as a shapely polygon, round ends by 4000 corners."""
    marks = [0.0, part.length]
    for end, tip, way in ((part.front, 0.0, 1.0), (part.rear, part.length, -1.0)):
        if end.length:
            marks += list(tip + way * end.length * (1.0 - np.cos(np.linspace(0.0, np.pi / 2, 4001))))
    for o in part.openings:
        if isinstance(o, Notch):
            marks += [o.start, o.start + 1e-15, o.start + o.length - 1e-15, o.start + o.length]
    depth = np.unique(marks)
    upper = []
    for d in depth:
        for o in part.openings:
            if isinstance(o, Notch) and d in (o.start, o.start + o.length):
                break
        else:
            upper.append((d, half_height(part, d)))
            continue
        upper.append((d, 0.5 * part.height))
    found = shapely.Polygon(upper + [(d, -r) for d, r in reversed(upper)]).buffer(0)
    for o in part.openings:
        if isinstance(o, Hole):
            found = found.difference(
                shapely.box(o.start, -0.5 * o.height, o.start + o.length, 0.5 * o.height)
            )
    return found


def lit(beam, travel):
    """The beam in the part's frame: depth behind the leading end, distance from the axis."""
    if isinstance(beam, SlitBeam):
        w, h = 0.5 * beam.extent, 0.5 * beam.height
        return shapely.box(travel - w, beam.offset - h, travel + w, beam.offset + h)
    angle = np.linspace(0.0, 2.0 * np.pi, POLYGON, endpoint=False)
    r = 0.5 * beam.extent
    return shapely.Polygon(np.column_stack([travel + r * np.cos(angle), beam.offset + r * np.sin(angle)]))


@pytest.mark.parametrize("seed", range(60))
def test_the_blocked_share_equals_the_area_that_shapely_clips(seed):
    rng = np.random.default_rng(seed)
    part, beam = random_part(rng), random_beam(rng)
    travel = rng.uniform(-0.5 * beam.extent, part.length + 0.5 * beam.extent, 12)
    outline = polygon(part)
    clipped = [outline.intersection(lit(beam, x)).area / beam.area for x in travel]
    np.testing.assert_allclose(blocked_fraction(part, beam, travel, part.length), clipped, rtol=0, atol=5e-7)


@pytest.mark.parametrize("seed", range(100, 130))
def test_the_blocked_share_equals_numerical_quadrature(seed):
    rng = np.random.default_rng(seed)
    part, beam = random_part(rng), random_beam(rng)
    radius = 0.5 * beam.extent
    holes = [o for o in part.openings if isinstance(o, Hole)]

    def covered(u, x):
        c = 0.5 * beam.height if isinstance(beam, SlitBeam) else np.sqrt(max(0.0, radius**2 - u**2))
        low, high, depth = beam.offset - c, beam.offset + c, x - u
        r = half_height(part, depth)
        open_to = max(
            (min(r, 0.5 * o.height) for o in holes if o.start <= depth <= o.start + o.length), default=0.0
        )
        return max(0.0, min(high, r) - max(low, -r)) - max(0.0, min(high, open_to) - max(low, -open_to))

    for x in rng.uniform(-radius, part.length + radius, 4):
        marks = [0.0, part.length, part.front.length, part.length - part.rear.length]
        marks += [d for o in part.openings for d in (o.start, o.start + o.length)]
        kinks = [x - d for d in marks if abs(x - d) < radius]
        cuts = np.unique([-radius, radius, *kinks, *np.linspace(-radius, radius, 25)])
        area = sum(quad(covered, a, b, args=(x,), epsabs=1e-16, epsrel=1e-10)[0] for a, b in pairwise(cuts))
        found = blocked_fraction(part, beam, np.array([x]), part.length)[0]
        assert found == pytest.approx(area / beam.area, abs=1e-7)


def test_a_face_across_a_circular_beam_covers_a_circular_segment():
    # area of a circular segment of half angle a: R^2 (a - sin a cos a); any table of geometry
    beam = CircularBeam(2e-3, 0.7e-3)
    angle = np.linspace(0.0, np.pi, 101)
    travel = -1e-3 * np.cos(angle)
    found = blocked_fraction(Part(1.0), beam, travel, 1.0)
    np.testing.assert_allclose(found, (angle - np.sin(angle) * np.cos(angle)) / np.pi, rtol=0, atol=1e-14)


def test_a_bar_along_the_axis_covers_a_circular_zone():
    # what a bar of half-height h leaves of the circle are two segments of half angle arccos(h/R)
    h = np.array([0.1, 0.4, 0.9])
    a = np.arccos(h)
    beam, middle = CircularBeam(2e-3), np.array([0.5])
    found = [blocked_fraction(Part(1.0, height=2e-3 * x), beam, middle, 1.0)[0] for x in h]
    np.testing.assert_allclose(found, 1.0 - 2.0 * (a - np.sin(a) * np.cos(a)) / np.pi, rtol=0, atol=1e-12)


@pytest.mark.parametrize("offset", [0.0, 0.6e-3, -2.1e-3])
def test_a_part_is_seen_alike_from_either_side_and_end(offset):
    front, rear = RoundEnd(2e-3), ChamferedEnd(3e-3, 1e-3)
    part, turned = (
        Part(0.03, height=5e-3, front=front, rear=rear),
        Part(0.03, height=5e-3, front=rear, rear=front),
    )
    travel = np.linspace(-2e-3, 32e-3, 300)
    beam, mirrored = CircularBeam(3e-3, offset), CircularBeam(3e-3, -offset)
    seen = blocked_fraction(part, beam, travel, 0.03)
    np.testing.assert_allclose(blocked_fraction(part, mirrored, travel, 0.03), seen, rtol=0, atol=1e-12)
    np.testing.assert_allclose(blocked_fraction(turned, beam, 0.03 - travel, 0.03), seen, rtol=0, atol=1e-12)
