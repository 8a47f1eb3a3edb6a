"""The full-curve brake against a 20-digit integration and an independent solver."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.linalg import solve
from scipy.special import roots_jacobi

from gatesim.ground.arrays import take
from gatesim.motion import AirDrag, EddyBrake, Path, passage
from gatesim.motion.integrate import advance, collocation, dop853, outlook, settled
from tests.benchmarks.strong_brakes import magnets
from tests.motion_rigs import Block, brake_chute, brake_reference


def single(item, i):
    return type(item)(**{k: float(v[i]) if isinstance(v, np.ndarray) else v for k, v in vars(item).items()})


@pytest.mark.long
def test_full_curve_brake_agrees_with_20_digits():
    part, path, brake, x = brake_chute(6, seed=3)
    p = passage(part, path, (brake,), x)
    for i in range(6):
        time, speed = brake_reference(*(single(item, i) for item in (part, path, brake)), x[i])
        assert_allclose(p.time[i], time, rtol=1e-9)
        assert_allclose(p.speed[i], speed, rtol=1e-9)


@pytest.mark.long
def test_strong_brakes_and_both_sides_of_the_peak_agree_with_20_digits():
    # light and heavy braking, part shorter and longer than the brake, fast entry above v_c
    cases = [
        (Block(0.02, 0.01), Path(1.5, 0.0), EddyBrake(0.1, 0.1, 0.5, 0.3)),
        (Block(0.5, 1.0), Path(1.2, 0.3), EddyBrake(0.6, 0.05, 30.0, 0.8)),
        (Block(0.1, 0.1), Path(1.0, 0.1), EddyBrake(0.4, 0.2, 2.0, 0.2)),
        (Block(0.1, 0.1), Path(0.9, 0.1), EddyBrake(0.05, 0.3, 5.0, 0.15)),
    ]
    for part, path, brake in cases:
        x = np.array([0.3, 0.66, 0.75])
        time, speed = brake_reference(part, path, brake, x)
        p = passage(part, path, (brake,), x)
        assert_allclose(p.time[0], time, rtol=1e-9)
        assert_allclose(p.speed[0], speed, rtol=1e-9)


def stiff_reference(part, path, brake, positions):
    """Crossing times and speeds from rest by scipy's Radau over position, from kink to kink."""
    a0 = path.gravity * (np.sin(path.slope) - path.friction * np.cos(path.slope))
    start, end, length = brake.start, brake.start + brake.length, part.length

    def rate(x, y):
        cover = np.clip(min(x - start, end + length - x), 0, min(brake.length, length)) / brake.length
        force = 2 * brake.peak_force * cover * y[1] * brake.critical_speed
        return [1 / y[1], (a0 - force / (brake.critical_speed**2 + y[1] ** 2) / part.mass) / y[1]]

    begin, y, found = start, [np.sqrt(2 * start / a0), np.sqrt(2 * start * a0)], {}
    kinks = {end, start + length, end + length}
    for stop in sorted({*kinks, *positions}):
        y = solve_ivp(rate, (begin, stop), y, "Radau", rtol=1e-12, atol=1e-15).y[:, -1]
        begin, found[stop] = stop, y
    return np.array([found[x] for x in positions]).T


@pytest.mark.long
@pytest.mark.parametrize(
    ("peak", "critical"), [(3.0, 1.0), (20.0, 1.0), (400.0, 1.0), (2.0, 0.3), (30.0, 5.0), (4000.0, 2.0)]
)
def test_crawling_over_a_very_strong_brake_agrees_with_a_stiff_solver(peak, critical):
    """Some 100 to 200,000 relaxation lengths on the way: implicit steps; down to 0.6 mm/s."""
    part, path, brake = Block(0.1, 0.1), Path(1.0), EddyBrake(0.02, 0.3, peak, critical)
    x = np.array([0.06, 0.2, 0.38, 0.43])
    time, speed = stiff_reference(part, path, brake, x)
    p = passage(part, path, (brake,), x)
    assert_allclose(p.time[0], time, rtol=1e-9)
    assert_allclose(p.speed[0], speed, rtol=1e-9)


@pytest.mark.long
def test_strongly_braked_profile_agrees_with_20_digits():
    """Invented: a 260 mm profile of 105 g over 200 mm of magnets that slow it to 8 cm/s."""
    part, path, brake = Block(0.26, 0.105), Path(np.deg2rad(30.0), 0.22), EddyBrake(0.3, 0.2, 85.0, 26.5)
    x = np.array([0.52, 0.8, 0.9])
    time, speed = brake_reference(part, path, brake, x)
    p = passage(part, path, (brake,), x)
    assert_allclose(p.time[0], time, rtol=1e-10)
    assert_allclose(p.speed[0], speed, rtol=1e-10)


@pytest.mark.long
def test_settled_part_takes_few_steps_and_agrees_with_20_digits(monkeypatch):
    """Invented: hundreds of relaxation lengths a ramp, far below and not so far below the peak speed."""
    counted = []
    steps = advance.move
    monkeypatch.setattr(advance, "move", lambda *given: counted.append(given[1].size) or steps(*given))
    for critical in (0.5, 2.0, 26.5):
        part, path = Block(0.26, 0.105), Path(np.deg2rad(30.0), 0.22)
        brake = EddyBrake(0.3, 0.2, 11.0 * critical, critical)
        x = np.array([0.42, 0.47, 0.5, 0.52, 0.57, 0.6, 0.8, 0.9])
        time, speed = brake_reference(part, path, brake, x)
        counted.clear()
        p = passage(part, path, (brake,), x)
        assert_allclose(p.time[0], time, rtol=2e-10)
        assert_allclose(p.speed[0], speed, rtol=2e-10)
        assert len(counted) < 250


@pytest.mark.long
def test_part_that_comes_far_too_fast_and_then_crawls_takes_few_steps(monkeypatch):
    """It enters at seven times the peak's speed, where nothing tells yet how stiff its motion becomes."""
    counted = []
    steps = advance.move
    monkeypatch.setattr(advance, "move", lambda *given: counted.append(given[1].size) or steps(*given))
    part, path, brake = Block(0.1, 0.1), Path(1.0), EddyBrake(0.3, 0.3, 150.0, 0.3)
    x = np.array([0.36, 0.5, 0.66])
    time, speed = stiff_reference(part, path, brake, x)
    p = passage(part, path, (brake,), x)
    assert_allclose(p.time[0], time, rtol=1e-9)
    assert_allclose(p.speed[0], speed, rtol=1e-9)
    assert len(counted) < 500


@pytest.mark.parametrize("mass", [1e-3, 1e-5, 1e-7, 1e-9])
def test_however_light_a_part_its_way_through_the_brake_takes_few_steps(mass, monkeypatch):
    """Down to a microgram: by momentum it takes 2 F_max/(m v_c a) times the integral of the cover.

    That neglects the speed against v_c and the change of it against a t, less than 1e-12 up to 10 mg.
    """
    counted = []
    steps = advance.move
    monkeypatch.setattr(advance, "move", lambda *given: counted.append(given[1].size) or steps(*given))
    part, path, brake = Block(0.26, mass), Path(0.5, 0.2), EddyBrake(0.3, 0.2, 300.0, 5.0)
    p = passage(part, path, (brake,), [0.42, 0.5, 0.7, 0.9])
    drive = path.gravity * (np.sin(0.5) - 0.2 * np.cos(0.5))
    slowness = 2 * 300.0 / (mass * 5.0 * drive)
    tolerance = 1e-6 if mass > 1e-4 else 1e-9
    assert_allclose(p.time[0, 1] - p.time[0, 0], slowness * 0.08 * (0.6 + 1.0) / 2, rtol=tolerance)
    assert_allclose(p.time[0, 2] - p.time[0, 1], slowness * (0.06 + 0.14 * (1 + 0.3) / 2), rtol=tolerance)
    assert len(counted) < 800


def test_rule_of_the_settled_way_is_exact_for_polynomials():
    """Radau quadrature of k nodes is exact up to the power 2 k - 2; slopes and the value at 0 up to k - 1."""
    for rule in (settled.WAY, settled.END):
        x, most = rule.nodes, rule.nodes.size - 1
        assert_allclose(rule.weights @ x ** (2 * most), 1 / (2 * most + 1), rtol=1e-11)
        assert_allclose(rule.slopes @ x**most, most * x ** (most - 1), atol=1e-10)
        assert_allclose(rule.at_zero @ (3 + x**most), 3.0, rtol=1e-11)
        assert_allclose(rule.highest[-1] @ np.cos(most * np.arccos(2 * x - 1)), 1.0, rtol=1e-11)


def test_implicit_step_collocates_at_the_nodes_of_radau():
    """Radau IIA: 1 and the roots of the Jacobi polynomial P^(1,0); weights are exact up to x^22."""
    inner = roots_jacobi(11, 1, 0)[0]
    assert_allclose(collocation.NODES, [*(inner + 1) / 2, 1.0], rtol=1e-13)
    for power in range(23):
        assert_allclose(collocation.WEIGHTS @ collocation.NODES**power, 1 / (power + 1), rtol=1e-11)


def test_change_of_a_newton_step_solves_its_linear_equation():
    """d' = lambda d + r from d = 0 for constant lambda, as scipy's solve has it; nearly so for g_v(s)."""
    draw = np.random.default_rng(3)
    missing, mean = draw.standard_normal((12, 5)), np.array([-300.0, -20.0, -1.0, 0.0, 2.0])
    newton = collocation.Newton.at(np.tile(mean, (12, 1)))
    found = newton.change(missing.copy())
    for i in range(5):
        expected = solve(collocation.SLOPES - mean[i] * np.eye(12), missing[:, i])
        assert_allclose(found[:, i], expected, rtol=1e-9, atol=1e-10)
    slope = -6.0 * collocation.NODES[:, None] * np.ones(5)
    smooth = np.cos(3 * collocation.NODES)[:, None] * np.ones(5)
    found = collocation.Newton.at(slope.copy()).change(smooth.copy())
    expected = solve(collocation.SLOPES - np.diag(slope[:, 0]), smooth[:, 0])
    assert_allclose(found[:, 0], expected, rtol=1e-4)


def test_both_kinds_of_step_agree(monkeypatch):
    """The implicit step in place of the explicit one, on ramps where either will do."""
    part, path, brake, x = brake_chute(50, seed=8)
    explicit = passage(part, path, (brake, AirDrag(1.0, 1e-3)), x)
    monkeypatch.setattr(outlook, "STIFF", 0.0)
    monkeypatch.setattr(outlook, "CHANGING", 0.0)
    implicit = passage(part, path, (brake, AirDrag(1.0, 1e-3)), x)
    assert (implicit.time != explicit.time).any()
    assert_allclose(implicit.time, explicit.time, rtol=1e-9)
    assert_allclose(implicit.speed, explicit.speed, rtol=1e-9)


@pytest.mark.long
@pytest.mark.parametrize("factor", [0.03, 0.3, 1.0, 3.0])
def test_way_over_a_row_of_magnets_agrees_with_an_independent_solver(factor):
    """scipy's Radau over position, from piece to piece of the profile, whose share is taken as it is."""
    brake, _ = magnets(factor)
    part, path = Block(0.26, 0.105), Path(np.pi / 6, 0.22)
    x = np.array([0.4, 0.5, 0.62, 0.7, 0.9])
    a0 = path.gravity * (np.sin(path.slope) - path.friction * np.cos(path.slope))

    def rate(at, y):
        drag = -brake.strength(np.array([at]), part, path)[0] / part.mass
        return [1 / y[1], (a0 - drag * brake.law(np.array([y[1]]))[0]) / y[1]]

    begin, y, found = 0.1, [np.sqrt(0.2 / a0), np.sqrt(0.2 * a0)], {}
    kinks = {float(kink) for kink in brake.kinks(part) if 0.1 < kink < 0.9}
    for stop in sorted({*kinks, *x.tolist()}):
        y = solve_ivp(rate, (begin, stop), y, "Radau", rtol=3e-12, atol=1e-15).y[:, -1]
        begin, found[stop] = stop, y
    p = passage(part, path, (brake,), x)
    time, speed = np.array([found[at] for at in x.tolist()]).T
    assert_allclose(p.time[0], time, rtol=1e-9)
    assert_allclose(p.speed[0], speed, rtol=1e-9)


def test_independent_solver_with_events():
    """scipy's DOP853 in time with event search: rtol 1e-12, kinks not resolved, hence 1e-8."""
    part, path = Block(0.17, 0.08), Path(0.6, 0.2, release_speed=1e-6)
    forces = (EddyBrake(0.25, 0.4, 0.9, 2.0), AirDrag(1.1, 2e-3))
    x = np.array([0.2, 0.6, 0.8])

    def rate(t, y):
        v = y[1]
        cover = max(min(y[0], 0.65) - max(y[0] - 0.17, 0.25), 0.0) / 0.4
        force = -0.9 * cover * 2 * (v / 2) / (1 + (v / 2) ** 2) - 0.5 * 1.204 * 1.1 * 2e-3 * v**2
        return [v, 9.80665 * (np.sin(0.6) - 0.2 * np.cos(0.6)) + force / 0.08]

    events = [lambda t, y, at=at: y[0] - at for at in x]
    reference = solve_ivp(
        rate, (0, 1), [0, 1e-6], "DOP853", events=events, rtol=1e-12, atol=1e-14, max_step=2e-3
    )
    p = passage(part, path, forces, x)
    assert_allclose(p.time[0], [float(t[0]) for t in reference.t_events], rtol=1e-8)


def test_table_is_the_published_one():
    from scipy.integrate._ivp import dop853_coefficients as table

    for i, row in enumerate(dop853.STAGES):
        assert_allclose(row, table.A[i, :i], rtol=0)
    assert_allclose(dop853.NODES, table.C[:12], rtol=0)
    assert_allclose(dop853.WEIGHTS, table.B[:12], rtol=0)
    assert_allclose(dop853.ERROR5, table.E5[:12], rtol=0)
    assert_allclose(dop853.ERROR3, table.E3[:12], rtol=0)


@pytest.mark.long
def test_a_trial_does_not_depend_on_its_company():
    """Bit for bit the same alone, in a small batch, and across chunks."""
    part, path, brake, x = brake_chute(9001, seed=5)
    x[7] = np.nan
    strength = np.where(np.arange(9001) % 3 == 0, 60.0, 1.0)  # some are so strong that steps are implicit
    brake = replace(brake, peak_force=brake.peak_force * strength)
    air = np.where(np.arange(9001) % 2 == 0, 0.0, np.linspace(1e-4, 1e-2, 9001))  # and closed forms serve
    forces = (brake, AirDrag(1.0, air))
    everything = passage(part, path, forces, x)
    for rows in ([0], [1], [7], [9000], [8191, 8192], range(5000, 5037)):
        rows = np.array(rows)
        alone = passage(take(part, rows), take(path, rows), tuple(take(f, rows) for f in forces), x[rows])
        for name in ("time", "speed", "node_time", "brake_ratio"):
            assert np.array_equal(getattr(alone, name), getattr(everything, name)[rows], equal_nan=True)


@pytest.mark.long
def test_released_at_rest_amid_magnets_agrees_with_an_independent_solver_in_few_steps(monkeypatch):
    """scipy's DOP853 in time, where a start from rest is regular."""
    counted = []
    steps = advance.move
    monkeypatch.setattr(advance, "move", lambda *given: counted.append(given[1].size) or steps(*given))
    for factor, begin in ((0.02, 0.25), (0.3, 0.29), (1.0, 0.2)):
        brake = replace(magnets(factor)[0], start=-begin)
        part, path, x = Block(0.26, 0.105), Path(np.pi / 6, 0.22), np.array([0.001, 0.05, 0.15])
        a0 = path.gravity * (np.sin(path.slope) - path.friction * np.cos(path.slope))

        def rate(t, y, brake=brake, part=part, path=path, a0=a0):
            share = brake.strength(np.array([y[0]]), part, path)[0] / part.mass
            return [y[1], a0 + share * brake.law(np.array([y[1]]))[0]]

        events = [lambda t, y, at=at: y[0] - at for at in x]
        events[-1].terminal = True
        found = solve_ivp(rate, (0, 1e3), [0, 0], "DOP853", events=events, rtol=1e-12, atol=1e-15)
        counted.clear()
        p = passage(part, path, (brake,), x)
        assert_allclose(p.time[0], [float(t[0]) for t in found.t_events], rtol=1e-8)
        assert len(counted) < 80


@pytest.mark.long
def test_a_trial_over_magnets_does_not_depend_on_its_company():
    """Bit for bit, where implicit steps and long ways at once go by pieces of a profile."""
    factor = np.exp(np.random.default_rng(6).uniform(np.log(0.02), np.log(3.0), 1100))
    part, path, x = Block(0.26, 0.105), Path(np.pi / 6, 0.22), np.array([0.45, 0.5, 0.9])
    everything = passage(part, path, (magnets(factor)[0],), x)
    for rows in ([0], [1023], [1099], range(1010, 1040)):
        alone = passage(part, path, (magnets(factor[list(rows)])[0],), x)
        for name in ("time", "speed"):
            assert np.array_equal(getattr(alone, name), getattr(everything, name)[list(rows)])


def test_positions_may_come_in_any_order_and_be_missing():
    part, path, brake, _ = brake_chute(1)
    p = passage(part, path, (brake,), [0.8, np.nan, 0.1, 0.8, -0.1, 0.0])
    q = passage(part, path, (brake,), [0.1, 0.8])
    assert_allclose(p.time[0, [2, 0]], q.time[0], rtol=1e-12)
    assert p.time[0, 3] == p.time[0, 0]
    assert np.isnan(p.time[0, [1, 4]]).all()
    assert p.time[0, 5] == 0
