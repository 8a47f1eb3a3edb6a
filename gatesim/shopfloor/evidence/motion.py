"""Motion: closed forms of mechanics, and integrations to 20 digits."""

import math
from typing import Any

import numpy as np

from gatesim.motion import AirDrag, Belt, EddyBrake, Launch, Path, passage
from gatesim.part import Part
from gatesim.shopfloor.evidence.check import Check

G = 9.80665
ROUNDING = "closed form on both sides: rounding of double precision"
STEPS = "promised relative accuracy of crossing times, 1e-9"
MECHANICS = "mechanics texts; derived"


def _times(part: Part, path: Path, forces: tuple[Any, ...], x: tuple[float, ...]) -> Any:
    return passage(part, path, forces, np.array(x)).time[0]


def _speeds(part: Part, path: Path, forces: tuple[Any, ...], x: tuple[float, ...]) -> Any:
    return passage(part, path, forces, np.array(x)).speed[0]


def _rolls(c: float) -> Any:
    return _times(Part(0.1, inertia_factor=c), Path(0.6), (), (0.3, 1.2))


def _rolling(c: float) -> tuple[float, float]:
    a = G * math.sin(0.6) / (1.0 + c)
    return math.sqrt(0.6 / a), math.sqrt(2.4 / a)


def _long_brake(linear: bool) -> EddyBrake:
    """Covered by a part of 10 m from start to end: b = 1.1 kg/s in effect."""
    return EddyBrake.from_coefficient(-10.0, 20.0, 2.2, 1.0, linear)


def _linear_drag() -> tuple[float, ...]:
    tau, end = 0.1 / 1.1, 0.1 * G / 1.1
    return tuple(end * t - end * tau * (1.0 - math.exp(-t / tau)) for t in (0.01, 0.1, 0.4, 1.5))


def _quadratic(x: float) -> float:
    v2 = 2.0 * 0.1 * G / (1.204 * 1e-3)
    return math.sqrt(v2) / G * math.acosh(math.exp(G * x / v2))


def _launch() -> tuple[float, float]:
    k, s, m, carrier, mu = 200.0, 0.1, 0.08, 0.03, 0.3
    d, w = s - mu * m * G / k, math.sqrt(k / (m + carrier))
    return math.acos(1.0 - 0.05 / d) / w, math.acos(1.0 - 0.1 / d) / w


def _terminal() -> float:
    """Speed far inside a brake made for 0.58 m/s; the part's cover is constant there."""
    path, part = Path(math.radians(35.0), 0.25), Part(0.17, mass=0.08)
    brake = EddyBrake.from_terminal_speed(0.3, 20.0, 0.58, part, path, 1.5)
    return float(_speeds(part, path, (brake,), (15.0,))[0])


def _ours_linear() -> Any:
    part, path = Part(10.0, mass=0.1), Path(math.pi / 2.0)
    return _times(part, path, (_long_brake(True),), _linear_drag())


CHUTE = (Part(0.1, mass=0.1), Path(0.9, 0.1), EddyBrake(0.05, 0.3, 5.0, 0.15))
AT = (0.3, 0.66, 0.75)


def _twenty_digits() -> list[float]:
    """The rig `CHUTE` by Taylor series to 20 digits, from kink to kink, in time."""
    import mpmath

    mpmath.mp.dps = 20
    part, path, brake = CHUTE
    m, vc = mpmath.mpf(part.mass), mpmath.mpf(brake.critical_speed)
    drive = mpmath.mpf(G) * (mpmath.sin(path.slope) - mpmath.mpf(path.friction) * mpmath.cos(path.slope))
    start, length, size = (mpmath.mpf(v) for v in (brake.start, brake.length, part.length))

    def cover(x: Any) -> Any:
        share = min(x - start, start + length + size - x)
        return min(max(share, 0), min(length, size)) / length

    def rate(x: Any, y: Any) -> list[Any]:
        v = y[1]
        force = brake.peak_force * 2 * (v / vc) / (1 + (v / vc) ** 2) * cover(x)
        return [1 / v, (drive - force / m) / v]

    x, y = mpmath.mpf(start), [mpmath.sqrt(2 * start / drive), mpmath.sqrt(2 * start * drive)]
    kinks = sorted({*AT, *(float(v) for v in (start + size, start + length, start + length + size))})
    found = {}
    for goal in kinks:
        y = _runge_kutta(rate, x, y, mpmath.mpf(goal))
        x = mpmath.mpf(goal)
        found[goal] = float(y[0])
    return [found[at] for at in AT]


def _runge_kutta(rate: Any, x: Any, y: list[Any], end: Any, steps: int = 600) -> list[Any]:
    """Classical order 4 at two step sizes, extrapolated (L. F. Richardson, 1911)."""

    def run(n: int) -> list[Any]:
        h, at, now = (end - x) / n, x, list(y)
        for _ in range(n):
            k1 = rate(at + h / 10**12, now)
            k2 = rate(at + h / 2, [a + h / 2 * b for a, b in zip(now, k1, strict=True)])
            k3 = rate(at + h / 2, [a + h / 2 * b for a, b in zip(now, k2, strict=True)])
            k4 = rate(at + h, [a + h * b for a, b in zip(now, k3, strict=True)])
            now = [
                a + h / 6 * (p + 2 * q + 2 * r + s) for a, p, q, r, s in zip(now, k1, k2, k3, k4, strict=True)
            ]
            at += h
        return now

    coarse, fine = run(steps), run(2 * steps)
    return [f + (f - c) / 15 for f, c in zip(fine, coarse, strict=True)]


CHECKS = (
    Check(
        "A free fall of 1 m takes sqrt(2 h/g) at standard gravity",
        "9.80665 m/s^2: 3rd CGPM (1901); from memory",
        (math.sqrt(2.0 / G),),
        lambda: _times(Part(0.1), Path(math.pi / 2.0), (), (1.0,)),
        1e-14,
        ROUNDING,
        "s",
    ),
    *(
        Check(
            f"A {body} rolls down with g sin(slope)/(1 + c), c = {c:g}",
            "Halliday and Resnick, Fundamentals of Physics, ch. 11; from memory",
            _rolling(c),
            lambda c=c: _rolls(c),  # type: ignore[misc]
            1e-14,
            ROUNDING,
            "s",
        )
        for body, c in (("ball", 0.4), ("solid cylinder", 0.5), ("thin tube", 1.0))
    ),
    Check(
        "Sliding friction takes mu g cos(slope) from the acceleration",
        f"Coulomb friction, {MECHANICS}",
        (math.sqrt(2.0 / (G * (math.sin(0.5) - 0.2 * math.cos(0.5)))),),
        lambda: _times(Part(0.1), Path(0.5, 0.2), (), (1.0,)),
        1e-14,
        ROUNDING,
        "s",
    ),
    Check(
        "A part released at 2 m/s on a level path stops after v^2/(2 mu g)",
        MECHANICS,
        (4.0 / (2.0 * 0.3 * G),),
        lambda: passage(Part(0.1), Path(0.0, 0.3, release_speed=2.0), (), [5.0]).stop_position,
        1e-12,
        ROUNDING,
        "m",
    ),
    Check(
        "Quadratic air drag from rest: t = (v_t/g) arcosh(exp(g x/v_t^2))",
        MECHANICS,
        (_quadratic(0.3), _quadratic(8.0)),
        lambda: _times(Part(0.1, mass=0.1), Path(math.pi / 2.0), (AirDrag(1.0, 1e-3, 1.204),), (0.3, 8.0)),
        2e-9,
        STEPS,
        "s",
    ),
    Check(
        "Linear drag from rest: x = v_t t - v_t tau (1 - exp(-t/tau))",
        MECHANICS,
        (0.01, 0.1, 0.4, 1.5),
        _ours_linear,
        1e-9,
        STEPS,
        "s",
    ),
    Check(
        "A spring launch is a quarter of an oscillation about the friction's equilibrium",
        MECHANICS,
        _launch(),
        lambda: _times(Part(0.1, mass=0.08), Path(0.0, 0.3), (Launch(200.0, 0.1, 0.03),), (0.05, 0.1)),
        1e-9,
        STEPS,
        "s",
    ),
    Check(
        "A belt brings a part to its speed v over v^2/(2 mu g)",
        MECHANICS,
        (0.8**2 / (2.0 * 0.4 * G),),
        lambda: passage(Part(0.1), Path(0.0), (Belt(0.8, 0.4),), [0.5]).caught_position,
        1e-9,
        STEPS,
        "m",
    ),
    Check(
        "A brake given by its terminal speed of 0.58 m/s keeps it",
        "balance of weight, friction and drag; derived",
        (0.58,),
        _terminal,
        1e-9,
        STEPS,
        "m/s",
    ),
    Check(
        "The peak force of the drag curve is at the critical speed",
        "Wouterse, IEE Proc. B 138 (1991) 153; Smythe, Trans. AIEE 61 (1942) 681; from memory",
        (5.0, 4.0, 4.0),
        lambda: (
            -np.asarray(CHUTE[2].law(np.array([0.15, 0.3, 0.075])))
            * np.asarray(CHUTE[2].strength(np.array([0.35]), Part(0.3), CHUTE[1]))
        ),
        1e-12,
        "F_max at v_c, 4/5 of it at twice and at half of v_c: rounding",
        "N",
    ),
    Check(
        "Full-curve brake with run-in, plateau and run-out",
        "mpmath, order 4 extrapolated in 20 digits; independent library",
        _twenty_digits,
        lambda: _times(CHUTE[0], CHUTE[1], (CHUTE[2],), AT),
        2e-9,
        STEPS,
        "s",
        needs="mpmath",
        quick=False,
    ),
)
