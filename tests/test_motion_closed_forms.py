"""Crossing times against closed forms of mechanics; all to 1e-9 relative."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from gatesim.ground.outcome import Outcome
from gatesim.motion import AirDrag, EddyBrake, Launch, Path, passage
from tests.motion_rigs import Block

G = 9.80665
ANYWHERE = [0.05, 0.3, 0.31, 1.2, 0.7]


@pytest.mark.parametrize("c", [0.0, 2 / 5, 1 / 2, 1.0])
def test_rolling_part_accelerates_with_g_sin_over_one_plus_c(c):
    # factor 1/(1 + c): c = 2/5 ball, 1/2 solid cylinder, 1 thin tube (Halliday/Resnick, ch. 11; from memory)
    p = passage(Block(inertia_factor=c), Path(slope=0.6), (), ANYWHERE)
    a = G * np.sin(0.6) / (1 + c)
    assert_allclose(p.time[0], np.sqrt(2 * np.array(ANYWHERE) / a), rtol=1e-14)
    assert_allclose(p.speed[0], np.sqrt(2 * np.array(ANYWHERE) * a), rtol=1e-14)


@given(
    slope=st.floats(0.2, np.pi / 2), friction=st.floats(0, 0.15), v0=st.floats(1e-6, 5), x=st.floats(1e-4, 5)
)
def test_constant_acceleration_with_friction_and_initial_speed(slope, friction, v0, x):
    p = passage(Block(), Path(slope, friction, release_speed=v0), (), [x])
    a = G * (np.sin(slope) - friction * abs(np.cos(slope)))
    assert_allclose(p.time[0, 0], 2 * x / (v0 + np.sqrt(v0**2 + 2 * a * x)), rtol=1e-12)


def test_quadratic_drag_from_rest():
    # v^2 = v_t^2 (1 - exp(-2 g x/v_t^2)), t = (v_t/g) arcosh(exp(g x/v_t^2)) (mechanics texts, derived)
    x = np.array([0.01, 0.3, 2.0, 8.0, 30.0])
    p = passage(Block(mass=0.1), Path(np.pi / 2), (AirDrag(1.0, 1e-3),), x)
    vt2 = 2 * 0.1 * G / (1.204 * 1e-3)
    assert_allclose(p.time[0], np.sqrt(vt2) / G * np.arccosh(np.exp(G * x / vt2)), rtol=1e-9)
    assert_allclose(p.speed[0], np.sqrt(-vt2 * np.expm1(-2 * G * x / vt2)), rtol=1e-9)


@pytest.mark.parametrize("v0", [0.0, 1e-6, 0.3, 4.0])
def test_linear_drag_on_the_whole_way(v0):
    # m dv/dt = m g - b v: v = v_t + (v0 - v_t) e, x = v_t t + (v0 - v_t) tau (1 - e), e = exp(-t/tau)
    b, m = 1.1, 0.1
    tau, vt = m / b, m * G / b
    t = np.array([0.01, 0.1, 0.4, 1.5])
    e = np.exp(-t / tau)
    x = vt * t + (v0 - vt) * tau * (1 - e)
    # a part longer than the way, over a brake that began before the release: covered from start to end
    brake = EddyBrake.from_coefficient(
        start=-10.0, length=20.0, coefficient=b * 2, critical_speed=1.0, linear=True
    )
    p = passage(Block(length=10.0, mass=m), Path(np.pi / 2, release_speed=v0), (brake,), x)
    assert_allclose(p.time[0], t, rtol=1e-9)
    assert_allclose(p.speed[0], vt + (v0 - vt) * e, rtol=1e-9)


def test_spring_launch_with_friction_is_a_quarter_of_an_oscillation():
    # x = d (1 - cos(w t)), d = stretch - mu m g/k; the carrier swings along but is not pressed down
    k, s, m, mc, mu = 200.0, 0.1, 0.08, 0.03, 0.3
    d, w = s - mu * m * G / k, np.sqrt(k / (m + mc))
    x = np.array([0.01, 0.05, 0.09, 0.1, 0.4])
    p = passage(Block(mass=m), Path(0.0, mu), (Launch(k, s, mc),), x)
    assert_allclose(p.time[0, :4], np.arccos(1 - x[:4] / d) / w, rtol=1e-9)
    # after release: uniformly braked by friction
    free, v = np.arccos(1 - s / d) / w, d * w * np.sqrt(1 - (1 - s / d) ** 2)
    end = np.sqrt(v**2 - 2 * mu * G * (0.4 - s))
    assert_allclose(p.time[0, 4], free + (v - end) / (mu * G), rtol=1e-9)
    assert_allclose(p.speed[0, 4], end, rtol=1e-9)


def test_brake_from_terminal_speed_keeps_it():
    path = Path(np.deg2rad(35), 0.25)
    part = Block(length=0.17, mass=0.08)
    for vc in (np.inf, 1.5, 0.3):
        brake = EddyBrake.from_terminal_speed(0.3, 3.0, 0.58, part, path, vc)
        share = 0.17 / 3.0
        ratio = 0.58 / brake.critical_speed
        force = brake.peak_force * share * (2 * ratio if brake.linear else 2 * ratio / (1 + ratio**2))
        assert_allclose(force, 0.08 * G * (np.sin(path.slope) - 0.25 * np.cos(path.slope)), rtol=1e-12)
    near = EddyBrake.from_terminal_speed(0.3, 3.0, 0.58, part, path, 1.5)
    # 2.9 m are about 17 relaxation lengths: exp(-17) is 4e-8
    assert_allclose(passage(part, path, (near,), [3.2]).speed, 0.58, rtol=1e-7)


def test_chute_that_reads_0_162_m_has_an_acceleration_of_3_2():
    # common practice, no source: 0.17 m part, spacing 50 mm, read 0.162 m at 1.9 m/s
    a, s, length = 3.2, 0.05, 0.17
    path = Path(np.arcsin(a / G), release_speed=1.9)
    t = passage(Block(length=length), path, (), [0.0, s, length]).time[0]
    assert abs(s * (t[2] - t[0]) / (t[1] - t[0]) - 0.162) < 5e-4
    braked = Path(np.deg2rad(20), 0.1)
    brake = EddyBrake.from_terminal_speed(0.0, 2.0, 0.58, Block(), braked, 2.0)
    t = passage(Block(), braked, (brake,), [1.5, 1.55, 1.67]).time[0]
    assert abs(s * (t[2] - t[0]) / (t[1] - t[0]) - length) < 1e-3


@pytest.mark.long
@settings(max_examples=30)
@given(scale=st.floats(0.05, 20), v0=st.sampled_from([0.0, 0.4]))
def test_time_scales_with_the_units_of_length_and_time(scale, v0):
    """Lengths times s, g the same: times go with sqrt(s), speeds too (dimensional analysis)."""
    root = np.sqrt(scale)

    def rig(s, r):
        part, path = Block(0.17 * s, 0.08), Path(0.6, 0.2, release_speed=v0 * r)
        brake = EddyBrake(0.25 * s, 0.4 * s, 0.9, 2.0 * r)
        return passage(part, path, (brake, AirDrag(1.0, 1e-3 / s)), np.array([0.1, 0.3, 0.7, 0.9]) * s)

    one, other = rig(1.0, 1.0), rig(scale, root)
    assert_allclose(other.time, one.time * root, rtol=1e-9)
    assert_allclose(other.speed, one.speed * root, rtol=1e-9)
    assert (one.outcome == Outcome.MEASURED).all()
