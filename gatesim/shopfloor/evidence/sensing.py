"""Beam, receiver and input filter: areas, and what each does to a clean pulse."""

import math
from typing import Any

import numpy as np

from gatesim.ground.draw import Nominal, Streams
from gatesim.ground.transition import edge_count
from gatesim.inputfilter import HoldOff, Majority, StableFor
from gatesim.inputfilter.train import share_passed
from gatesim.part import Part
from gatesim.sensor.beam import CircularBeam, PointBeam, SlitBeam
from gatesim.sensor.blocked import blocked_fraction
from gatesim.sensor.profile import switching
from gatesim.sensor.receiver import receiver_delay
from gatesim.shopfloor.evidence.check import Check

SEGMENT = "area of a circular segment, any table of geometry; solved to nine digits"
PRACTICE = "common practice, no source"
SHARES = (0.10, 0.25, 0.50, 0.75, 0.90)
PENETRATION = (0.156475587, 0.298013623, 0.5, 0.701986377, 0.843524413)


def _knife_edge() -> Any:
    travel = np.array(PENETRATION) - 0.5
    return blocked_fraction(Part(10.0), CircularBeam(1.0), travel, 10.0)


def _switching_penetration() -> list[float]:
    """Travel past the beam's middle at which a long part darkens it at each share, as a penetration."""
    return [
        float(switching(Part(10.0), CircularBeam(1.0), share, share, 10.0).travel[0, 0]) + 0.5
        for share in SHARES
    ]


def _receiver() -> float:
    """Delay in time constants of a receiver behind a beam without width, at half the light."""
    at = switching(Part(1.0), PointBeam(), 0.5, 0.5, 1.0)
    return float(receiver_delay(at.runs[0], np.array([0.5]), np.array([2.0]), np.array([1e-3]))[0]) / 1e-3


def _bar_through_circle() -> float:
    part = Part(10.0, height=0.4)
    return float(blocked_fraction(part, CircularBeam(1.0), np.array([5.0]), 10.0)[0])


def _pulse(times: list[float]) -> Any:
    return np.array([times])


def _majority_delay() -> tuple[float, float]:
    """Mean and standard deviation of the delay of an edge, 5 of 8 samples of 1 ms, over random phases."""
    out = Majority(1e-3, 8, 5).pass_on(np.tile([0.5, 1.5], (200_000, 1)), Streams(1, 0, 200_000), "filter@1")
    delay = out[:, 0] - 0.5
    return float(delay.mean()), float(delay.std())


def _shapely() -> list[float]:
    from shapely import Point, box

    beam = Point(0.0, 0.1).buffer(0.5, quad_segs=4096)
    part = box(-0.3, -0.2, 0.25, 0.2)
    return [part.intersection(beam).area / (math.pi / 4.0)]


CHECKS = (
    Check(
        "A knife edge at these depths covers 10, 25, 50, 75 and 90 % of a circular beam",
        SEGMENT, SHARES, _knife_edge, 1e-8, "nine digits of the depths",
    ),
    Check(
        "A long part switches at these depths where the threshold is 10, 25, 50, 75 and 90 %",
        SEGMENT, PENETRATION, _switching_penetration, 1e-6, "the outline is tabulated and interpolated",
        "diameters",
    ),
    Check(
        "A receiver of one time constant reaches half of a step after ln 2 of it",
        "first-order lag, any text on circuits; derived", (math.log(2.0),), _receiver, 1e-12, "closed form",
        "time constants",
    ),
    Check(
        "A bar of 0.4 diameters through the middle covers 1 - (2/pi)(arccos c - c sqrt(1 - c^2)), c = 0.4",
        "two circular segments, any table of geometry",
        (1.0 - 2.0 / math.pi * (math.acos(0.4) - 0.4 * math.sqrt(1.0 - 0.16)),),
        _bar_through_circle, 1e-12, "closed form on both sides",
    ),
    Check(
        "A slit of 2 mm is half covered when the edge stands in its middle",
        "area of a rectangle", (0.5, 0.75),
        lambda: blocked_fraction(Part(1.0), SlitBeam(2e-3, 4e-3), np.array([0.0, 5e-4]), 1.0),
        1e-12, "closed form on both sides",
    ),
    Check(
        "A short part in a beam off its axis",
        "shapely, circle as a polygon of 16,384 sides; independent library",
        _shapely,
        lambda: blocked_fraction(Part(0.55, height=0.4), CircularBeam(1.0, 0.1), np.array([0.25]), 0.55),
        1e-6, "the polygon lacks 1e-7 of the circle's area", needs="shapely", quick=False,
    ),
    Check(
        "Stable-for 3 ms: both edges come 3 ms late, a pulse of 2 ms does not come at all",
        PRACTICE, (3e-3, 13e-3, 0.0),
        lambda: [*StableFor(3e-3).pass_on(_pulse([0.0, 0.01]), Nominal(), "f")[0][:2],
                 edge_count(StableFor(3e-3).pass_on(_pulse([0.0, 2e-3]), Nominal(), "f"))[0]],
        1e-14, "rounding", "s",
    ),
    Check(
        "Hold-off 3 ms: a clean pulse of 10 ms is unchanged, one of 2 ms is stretched to 3 ms",
        PRACTICE, (0.0, 0.01, 0.0, 3e-3),
        lambda: [*HoldOff(3e-3).pass_on(_pulse([0.0, 0.01]), Nominal(), "f")[0][:2],
                 *HoldOff(3e-3).pass_on(_pulse([0.0, 2e-3]), Nominal(), "f")[0][:2]],
        1e-14, "rounding", "s",
    ),
    Check(
        "Majority, 5 of 8 samples of 1 ms: 4.5 ms late on the mean, scattering by 1 ms/sqrt(12)",
        "the fifth sample after the edge, at a uniform phase; derived",
        (4.5e-3, 1e-3 / math.sqrt(12.0)), _majority_delay, 3e-6, "4 standard errors of 200,000 phases", "s",
    ),
    Check(
        "A pulse train faster than the filter is lost entirely, a slow one passes whole",
        PRACTICE, (0.0, 1.0),
        lambda: [share_passed(StableFor(3e-3), f, Nominal())[0] for f in (250.0, 100.0)],
        0.0, "all or none",
    ),
)  # fmt: skip
