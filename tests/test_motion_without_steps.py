"""Closed forms of drag beside a constant drive, against quadratures of 30 digits and the step method.

The references integrate dt = dv/a(v) and dx = v dv/a(v) with mpmath from one speed to another, and the
closed forms have to find that speed and time from the distance.
"""

import numpy as np
import pytest
from mpmath import mp
from numpy.testing import assert_allclose

from gatesim.motion import AirDrag, EddyBrake, Path, passage
from gatesim.motion.closedform.arc import arc
from gatesim.motion.closedform.dragcurve import drag_curve
from gatesim.motion.closedform.lineardrag import linear_drag
from gatesim.motion.closedform.quadraticdrag import quadratic_drag
from tests.motion_rigs import Block, brake_reference


def reference(acceleration, begin, end):
    """Way and time from one speed to another, none of which is a terminal speed."""
    with mp.workdps(30):
        speeds = mp.linspace(mp.mpf(begin), mp.mpf(end), 17)
        way = mp.quad(lambda v: v / acceleration(v), speeds)
        return float(way), float(mp.quad(lambda v: 1 / acceleration(v), speeds))


def held(solver, acceleration, drive, strength, begin, end, *more):
    """The closed form finds speed and time to 1e-12."""
    way, time = reference(acceleration, begin, end)
    found = solver(*(np.array([value]) for value in (drive, strength, way, begin, *more)))
    assert_allclose(np.ravel(found), [end, time], rtol=1e-12)


@pytest.mark.parametrize(("drive", "k"), [(3.0, 5.0), (3.0, 1e-7), (-2.0, 4.0), (0.0, 3.0), (2.0, 900.0)])
@pytest.mark.parametrize(("begin", "share"), [(0.0, 0.3), (1.4, 0.4), (0.2, 0.9)])
def test_linear_drag_agrees_with_30_digits(drive, k, begin, share):
    terminal = drive / k
    if drive <= 0 and begin == 0.0:
        begin = 0.7
    end = begin + share * (max(min(terminal, begin + 2.0), 0.0) - begin)
    held(linear_drag, lambda v: mp.mpf(drive) - mp.mpf(k) * v, drive, -k, begin, end)


@pytest.mark.parametrize(
    ("drive", "c"), [(3.0, 0.4), (3.0, 1e-9), (-2.0, 4.0), (0.0, 3.0), (2.0, 900.0), (-1e-9, 1.0)]
)
@pytest.mark.parametrize(("begin", "share"), [(0.0, 0.3), (1.4, 0.4), (0.2, 0.9), (3.0, 0.999)])
def test_quadratic_drag_agrees_with_30_digits(drive, c, begin, share):
    terminal = np.sqrt(max(drive, 0.0) / c)
    if drive <= 0 and begin == 0.0:
        begin = 0.7
    least = max(min(terminal, begin + 2.0), 0.03 * begin)
    held(
        quadratic_drag, lambda v: mp.mpf(drive) - mp.mpf(c) * v * v, drive, -c, begin,
        begin + share * (least - begin),
    )  # fmt: skip


CURVES = {
    # drive, beta, then speeds in critical speeds
    "down to the terminal speed": (3.8, 12.0, 0.5, 0.09),
    "close to it": (3.8, 12.0, 0.085, 0.0839203),
    "up to the terminal speed": (3.8, 12.0, 0.0, 0.08),
    "down from between peak and second terminal speed": (3.8, 3.0, 2.5, 0.6),
    "running away": (3.8, 3.0, 2.7, 3.5),
    "no terminal speed": (3.8, 1.2, 0.0, 3.0),
    "hardly past the bottleneck": (3.8, 1.99, 0.5, 1.4),
    "just no terminal speed": (3.8, 2 - 1e-9, 0.5, 0.99),
    "two close terminal speeds": (3.8, 2 + 1e-5, 0.5, 0.99),
    "uphill": (-1.5, -0.7, 1.2, 0.2),
    "weakly braked": (3.8, 1e-6, 0.1, 2.0),
    "strongly braked": (3.8, 90.0, 0.02, 0.0112),
}


@pytest.mark.parametrize(("drive", "beta", "begin", "end"), CURVES.values(), ids=CURVES)
def test_full_drag_curve_agrees_with_30_digits(drive, beta, begin, end):
    critical = 1.7
    k = beta * drive * critical

    def acceleration(v):
        return mp.mpf(drive) - mp.mpf(k) * v / (mp.mpf(critical) ** 2 + v * v)

    held(drag_curve, acceleration, drive, -k, begin * critical, end * critical, critical)


@pytest.mark.parametrize("beta", [2.5, 12.0, 400.0])
def test_a_start_at_the_terminal_speed_keeps_it(beta):
    terminal = 2 / (beta + np.sqrt(beta * beta - 4))
    speed, time = drag_curve(*(np.array([value]) for value in (2.0, -beta * 2.0, 0.4, terminal, 1.0)))
    assert_allclose([speed[0], time[0]], [terminal, 0.4 / terminal], rtol=1e-14)
    speed, time = linear_drag(*(np.array([value]) for value in (2.0, -beta, 0.4, 2.0 / beta)))
    assert_allclose([speed[0], time[0]], [2.0 / beta, 0.2 * beta], rtol=1e-14)
    speed, time = quadratic_drag(*(np.array([value]) for value in (2.0, -beta, 0.4, np.sqrt(2.0 / beta))))
    assert_allclose([speed[0], time[0]], [np.sqrt(2.0 / beta), 0.4 / np.sqrt(2.0 / beta)], rtol=1e-14)


@pytest.mark.long
@pytest.mark.parametrize(("solver", "more"), [(linear_drag, ()), (quadratic_drag, ()), (drag_curve, (1.3,))])
def test_either_it_is_right_or_it_says_nothing(solver, more):
    """2,000 random spans: what a closed form answers is what very small steps arrive at (Heun's method)."""
    rng = np.random.default_rng(4)
    n = 2000
    drive = rng.choice([1.0, 1.0, -1.0], n) * 10 ** rng.uniform(-1, 1, n)
    strength, size, v = (
        -(10 ** rng.uniform(-2, 1.5, n)),
        10 ** rng.uniform(-2, 0, n),
        10 ** rng.uniform(-1, 0.5, n),
    )
    end, time = solver(drive, strength, size, v, *(np.full(n, value) for value in more))
    law = {linear_drag: lambda v: v, quadratic_drag: lambda v: v * v}
    law = law.get(solver, lambda v: v / (1.3**2 + v * v))
    steps = 4000
    h, energy, taken = size / steps, 0.5 * v * v, np.zeros(n)
    with np.errstate(invalid="ignore"):  # who stops on the way becomes NaN
        for _ in range(steps):
            a = drive + strength * law(np.sqrt(2 * energy))
            b = drive + strength * law(np.sqrt(2 * (energy + h * a)))
            after = energy + 0.5 * h * (a + b)
            taken += 2 * h / (np.sqrt(2 * energy) + np.sqrt(2 * after))
            energy = after
    answered = ~np.isnan(end)
    sure = answered & (energy > 0.02 * v * v) & (np.abs(strength) * size < 20)
    assert sure.mean() > 0.4
    assert not (answered & np.isnan(energy)).any()  # it does not answer for who never arrives
    assert_allclose(end[sure], np.sqrt(2 * energy[sure]), rtol=2e-3)
    assert_allclose(time[sure], taken[sure], rtol=2e-3)


def test_arc_is_arctangent_or_inverse_hyperbolic_tangent():
    z = np.array([-0.99, -0.5, -0.0101, -0.0099, -1e-12, 0.0, 1e-9, 0.0099, 0.0101, 0.7, 1e6])
    with mp.workdps(30):
        exact = [
            float(
                mp.atan(mp.sqrt(x)) / mp.sqrt(x) if x > 0 else mp.atanh(mp.sqrt(-x)) / mp.sqrt(-x) if x else 1
            )
            for x in map(mp.mpf, z)
        ]
    assert_allclose(arc(z), exact, rtol=1e-15)


@pytest.mark.long
def test_gates_on_the_plateau_agree_with_20_digits():
    part, path, brake = Block(0.26, 0.21), Path(0.61, 0.22), EddyBrake(0.06, 1.1, 9.0, 2.2)
    x = np.array([0.5, 0.81, 1.07])
    time, speed = brake_reference(part, path, brake, x)
    p = passage(part, path, (brake,), x)
    assert_allclose(p.time[0], time, rtol=1e-10)
    assert_allclose(p.speed[0], speed, rtol=1e-10)


@pytest.mark.parametrize("beta", [2.0, 2 + 1e-9, 2.003, 1.97, -30.0, -0.2])
@pytest.mark.parametrize("begin", [0.2, 1.6])
def test_any_brake_on_any_slope_agrees_with_20_digits(beta, begin):
    """Whether by formula or by steps: near the point of no terminal speed, uphill, braked strongly there."""
    way, g = 0.1 if beta > 0 else 0.002, 9.80665
    path = Path(np.arcsin(np.sign(beta) * 0.08), release_speed=begin)
    peak = 0.5 * abs(beta) * 0.08 * g * 0.1  # at full cover
    brake = EddyBrake(-1.0, 2.0, 2 * peak, 1.0)  # half of it is covered on the whole way
    with mp.workdps(25):
        k, a = 2 * mp.mpf(peak) / mp.mpf(0.1), mp.mpf(g) * mp.sin(mp.mpf(path.slope))

        def rate(x, y):
            return [1 / y[1], (a - k * y[1] / (1 + y[1] ** 2)) / y[1]]

        exact = mp.odefun(rate, 0, [mp.mpf(0), mp.mpf(begin)], tol=mp.mpf(10) ** -20)(mp.mpf(way))
    p = passage(Block(1.0, 0.1), path, (brake,), [way])
    assert_allclose([p.time[0, 0], p.speed[0, 0]], [float(value) for value in exact], rtol=1e-10)


def test_drags_that_act_together_are_integrated():
    """Air of no consequence beside a brake changes nothing, though only then steps are taken."""
    part, path, brake = Block(0.26, 0.21), Path(0.61, 0.22), EddyBrake(0.06, 1.1, 9.0, 2.2)
    x = [0.76, 1.07]
    alone = passage(part, path, (brake,), x)
    together = passage(part, path, (brake, AirDrag(1e-12, 1e-6)), x)
    assert_allclose(together.time, alone.time, rtol=1e-11)


@pytest.mark.parametrize(
    "force", [AirDrag(1.0, 2e-3), EddyBrake(0.1, 0.3, 2.0, 1.1), EddyBrake(0.1, 0.3, 2.0, 1.1, True)]
)
def test_slope_is_the_derivative_of_the_law(force):
    v, h = np.array([0.2, 1.1, 3.0]), 1e-5
    assert_allclose(force.slope(v), (force.law(v + h) - force.law(v - h)) / (2 * h), rtol=1e-8, atol=1e-10)
