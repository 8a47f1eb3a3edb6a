"""Where a light gate switches while a part passes."""

from dataclasses import replace

import numpy as np
import pytest
import shapely
from scipy.optimize import brentq
from shapely import affinity

from gatesim.part import ChamferedEnd, Hole, Notch, Part, RoundEnd
from gatesim.sensor import CircularBeam, PointBeam, SlitBeam, switching
from gatesim.sensor import tilt as tilts_of

# penetration of a knife edge / beam diameter at a blocked share: circular segment, solved to 9 digits
KNIFE_EDGE = {0.10: 0.156475587, 0.25: 0.298013623, 0.50: 0.5, 0.75: 0.701986377, 0.90: 0.843524413}


def circle(diameter, offset=0.0):
    return CircularBeam(diameter, offset)


def travels(part, beam, dark=0.5, light=0.5):
    found = switching(part, beam, dark, light, float(np.mean(part.length))).travel
    return found[0][np.isfinite(found[0])]


@pytest.mark.parametrize(("share", "penetration"), KNIFE_EDGE.items())
def test_a_face_switches_at_the_penetration_of_a_circular_segment(share, penetration):
    d = 2e-3
    front, rear = travels(Part(0.1), circle(d), share, share)
    assert (front + 0.5 * d) / d == pytest.approx(penetration, abs=1e-7)
    assert (0.1 + 0.5 * d - rear) / d == pytest.approx(penetration, abs=1e-7)


@pytest.mark.parametrize("width", [0.1e-3, 1e-3, 8e-3])
@pytest.mark.parametrize("offset", [0.0, 1.3e-3])
def test_a_wider_beam_with_a_threshold_of_one_half_does_not_move_a_square_end(width, offset):
    for beam in (circle(width, offset), SlitBeam(width, 3e-3, offset)):
        np.testing.assert_allclose(travels(Part(0.1), beam), [0.0, 0.1], atol=1e-7 * width)


def test_hysteresis_lengthens_or_shortens_the_dark_travel_by_the_penetrations():
    d = 3e-3
    for dark, light in ((0.75, 0.25), (0.9, 0.1), (0.75, 0.5)):
        front, rear = travels(Part(0.1), circle(d), dark, light)
        late = (KNIFE_EDGE[dark] - 0.5) * d
        later = (0.5 - KNIFE_EDGE[light]) * d
        assert rear - front == pytest.approx(0.1 + later - late, abs=1e-7 * d)


def test_a_light_fraction_above_the_dark_one_is_taken_as_equal_to_it():
    both = switching(Part(0.1), circle(2e-3), np.array([0.4, 0.6]), np.array([0.5, 0.5]), 0.1)
    front, rear = both.travel.T
    np.testing.assert_allclose(front[0] + (rear[0] - 0.1), 0.0, atol=1e-9)  # same share on both sides
    assert rear[1] > 0.1 - front[1]


def test_a_cone_darkens_a_narrow_slit_where_it_has_grown_to_the_share():
    # slit much narrower than the cone is long: its share is 2 r(depth) / height of the slit
    part = Part(0.05, height=10e-3, front=ChamferedEnd(20e-3))
    front, rear = travels(part, SlitBeam(1e-6, 4e-3), 0.3, 0.3)
    assert front == pytest.approx(0.3 * 2e-3 / 5e-3 * 20e-3, rel=1e-6)
    assert rear == pytest.approx(0.05, abs=1e-6)


def test_a_hemisphere_darkens_a_narrow_slit_where_it_has_grown_to_the_share():
    part = Part(0.05, height=10e-3, rear=RoundEnd(5e-3))
    _, rear = travels(part, SlitBeam(1e-6, 4e-3), 0.8, 0.8)
    r = 0.8 * 2e-3
    assert rear == pytest.approx(0.05 - 5e-3 + np.sqrt(25e-6 - r * r), rel=1e-6)


@pytest.mark.parametrize("offset", [0.0, 1e-3, 3e-3])
def test_a_beam_without_width_switches_where_the_outline_reaches_its_offset(offset):
    part = Part(0.05, height=8e-3, front=ChamferedEnd(10e-3), rear=RoundEnd(4e-3))
    front, rear = travels(part, PointBeam(offset))
    assert front == pytest.approx(offset / 4e-3 * 10e-3, abs=1e-12)
    assert rear == pytest.approx(0.05 - 4e-3 + np.sqrt(16e-6 - offset**2), abs=1e-12)
    wide = travels(part, CircularBeam(1e-6, offset))
    np.testing.assert_allclose(wide, [front, rear], atol=2e-5 if offset == 0.0 else 1e-6)


def test_a_part_narrower_than_the_beam_may_never_darken_it():
    # a bar of height h through a circle: least share that is missed, from the circular segment
    h, d = 1e-3, 4e-3
    a = np.arccos(h / d)
    most = 1.0 - 2.0 * (a - np.sin(a) * np.cos(a)) / np.pi
    part = Part(0.1, height=h)
    assert travels(part, circle(d), most + 1e-6, most + 1e-6).size == 0
    assert travels(part, circle(d), most - 1e-6, most - 1e-6).size == 2
    assert travels(part, PointBeam(0.6e-3)).size == 0


def test_openings_are_seen_where_they_let_enough_light_through():
    notch, hole = Notch(0.03, 0.01), Hole(0.06, 0.01, 4e-3)
    part = Part(0.1, height=20e-3, openings=(notch, hole))
    np.testing.assert_allclose(
        travels(part, circle(2e-3)), [0.0, 0.03, 0.04, 0.06, 0.07, 0.1], atol=1e-7 * 2e-3
    )
    # an opening shorter than the beam or off its path never lets half of the light through
    small = Part(0.1, height=20e-3, openings=(Hole(0.06, 0.5e-3, 4e-3),))
    assert travels(small, circle(2e-3)).size == 2
    assert travels(part, circle(2e-3, 5e-3)).size == 4


def test_the_rear_edge_moves_with_the_length_of_each_part_and_openings_do_not():
    lengths = np.array([0.09, 0.1, 0.12])
    part = Part(lengths, height=20e-3, openings=(Notch(0.07, 0.01),))
    found = switching(part, circle(2e-3), 0.5, 0.5, 0.1).travel
    np.testing.assert_allclose(found[:, 3], lengths, atol=1e-9)
    np.testing.assert_allclose(found[:, :3], np.broadcast_to([0.0, 0.07, 0.08], (3, 3)), atol=1e-9)


@pytest.mark.parametrize("tilt", [-0.05, 0.02, 0.1])
@pytest.mark.parametrize("offset", [0.0, 2e-3])
@pytest.mark.parametrize("share", [0.3, 0.5])
def test_a_tilted_part_switches_where_the_turned_rectangle_covers_the_share(tilt, offset, share):
    length, height, d = 0.06, 40e-3, 2e-3
    # the part turned about its middle, its leading end at 0 when straight; it moves to the right
    turned = affinity.rotate(
        shapely.box(-length, -0.5 * height, 0.0, 0.5 * height), tilt, (-0.5 * length, 0.0), use_radians=True
    )
    angle = np.linspace(0.0, 2.0 * np.pi, 4096, endpoint=False)
    light = shapely.Polygon(0.5 * d * np.column_stack([np.cos(angle), np.sin(angle)]) + [0.0, offset])

    def missing(x):
        return affinity.translate(turned, x).intersection(light).area / light.area - share

    part = Part(length, height=height, tilt=tilt)
    front, rear = travels(part, circle(d, offset), share, share)
    assert front == pytest.approx(brentq(missing, -0.01, 0.03, xtol=1e-12), abs=1e-8)
    assert rear == pytest.approx(brentq(missing, 0.03, 0.08, xtol=1e-12), abs=1e-8)


@pytest.mark.parametrize("offset", [0.0, 1.5e-3])
def test_a_part_tilted_far_leaves_the_beam_through_its_side(offset):
    length, height, tilt = 0.2, 10e-3, 0.1
    turned = affinity.rotate(
        shapely.box(-length, -0.5 * height, 0.0, 0.5 * height), tilt, (-0.5 * length, 0.0), use_radians=True
    )
    # what of the beam's own line, offset from the axis, the part covers
    line = shapely.LineString([(-1.0, offset), (1.0, offset)]).intersection(turned)
    last, first = line.bounds[0], line.bounds[2]
    front, rear = travels(Part(length, height=height, tilt=tilt), circle(1e-3, offset))
    assert (front, rear) == pytest.approx((-first, -last), abs=1e-9)
    assert rear - front < 0.51 * length


@pytest.mark.parametrize("tilt", [0.0524, -0.1])
@pytest.mark.parametrize("beam", ["circle", "slit"])
@pytest.mark.parametrize(("dark", "light"), [(0.55, 0.45), (0.7, 0.3)])
def test_a_long_side_switches_where_the_turned_rectangle_covers_the_share(tilt, beam, dark, light):
    # areas by shapely; the part is so long that no corner is in the beam when its sides switch it
    length, height, offset, size = 0.9, 10e-3, 1e-3, (1.5e-3, 2.5e-3)
    turned = affinity.rotate(
        shapely.box(-length, -0.5 * height, 0.0, 0.5 * height), tilt, (-0.5 * length, 0.0), use_radians=True
    )
    angle = np.linspace(0.0, 2.0 * np.pi, 8192, endpoint=False)
    round_light = shapely.Polygon(1e-3 * np.column_stack([np.cos(angle), np.sin(angle)]) + [0.0, offset])
    w, h = size
    slit_light = shapely.box(-0.5 * w, offset - 0.5 * h, 0.5 * w, offset + 0.5 * h)
    lit = round_light if beam == "circle" else slit_light
    stage = circle(2e-3, offset) if beam == "circle" else SlitBeam(w, h, offset)

    def missing(x, share):
        return affinity.translate(turned, x).intersection(lit).area / lit.area - share

    front, rear = travels(Part(length, height=height, tilt=tilt), stage, dark, light)
    assert front == pytest.approx(brentq(missing, -0.1, 0.5 * length, args=(dark,), xtol=1e-12), abs=1e-7)
    assert rear == pytest.approx(brentq(missing, 0.5 * length, 1.0, args=(light,), xtol=1e-12), abs=1e-7)


@pytest.mark.parametrize("beam", [circle(2e-3, 0.5e-3), SlitBeam(1e-3, 6e-3), PointBeam(1e-3)])
def test_who_is_not_asked_for_a_long_side_does_not_meet_one(beam, monkeypatch):
    # with no bound at all every trial is asked; of these some meet a side, and most do not
    rng = np.random.default_rng(4)
    part = Part(rng.uniform(0.05, 0.2, 4000), height=12e-3, tilt=rng.normal(0.0, 0.04, 4000))
    dark, light = rng.uniform(0.5, 0.7, 4000), rng.uniform(0.3, 0.5, 4000)
    found = switching(part, beam, dark, light, 0.1).travel
    monkeypatch.setattr(tilts_of, "SURELY", -np.inf)
    everyone = switching(part, beam, dark, light, 0.1).travel
    assert np.array_equal(found, everyone)
    unbounded = switching(replace(part, height=np.inf), beam, dark, light, 0.1).travel
    assert 0.01 < (np.abs(unbounded - everyone) > 1e-9).any(axis=1).mean() < 0.7


def test_tilt_alone_lengthens_the_dark_travel_by_its_secant():
    tilts = np.array([0.0, 0.01, -0.2])
    found = switching(Part(0.1, tilt=tilts), circle(2e-3, 1e-3), 0.5, 0.5, 0.1).travel
    np.testing.assert_allclose(found[:, 1] - found[:, 0], 0.1 / np.cos(tilts), rtol=1e-9)
