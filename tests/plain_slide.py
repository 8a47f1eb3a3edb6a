"""Logs of a slide of constant acceleration by closed forms alone: nothing here is gatesim's.

x = a t^2 / 2 from rest, a = g (sin slope - friction cos slope); an edge is seen when the front or the
rear end of the part has gone the distance to a gate, later by the receiver's delay and normal jitter.
A register holds floor(f t + phase), with one uniform phase a passage for all of them.
"""

from collections.abc import Mapping

import numpy as np

from gatesim.shopfloor.log import Log

G = 9.80665
TRUTH = {
    "slope": np.radians(40.0),
    "friction": 0.3,
    "first": 0.4,
    "spacing": 0.08,
    "dark": 50e-6,
    "light": 60e-6,
    "jitter": 4e-6,
    "frequency": 1e5,
}
UNCERTAIN = {"slope": np.radians(0.1), "spacing": 0.05e-3, "dark": 4e-6, "light": 4e-6}
"""Standard uncertainties that the scenario `SLIDE` states; its release is rectangular, half-width 1 mm."""


def drawn_rig(rng: np.random.Generator, **changes: float) -> dict[str, object]:
    """One rig as `SLIDE` spreads them: every gate has delays of its own."""
    rig: dict[str, object] = dict(TRUTH) | changes
    rig["slope"] = rng.normal(TRUTH["slope"], UNCERTAIN["slope"])
    rig["spacing"] = rng.normal(TRUTH["spacing"], UNCERTAIN["spacing"])
    rig["first"] = TRUTH["first"] + 1e-3 * rng.uniform(-1.0, 1.0)
    for key in ("dark", "light"):
        rig[key] = rng.normal(TRUTH[key], UNCERTAIN[key], 2)
    return rig


def counts(
    rng: np.random.Generator, rig: Mapping[str, object], lengths: np.ndarray, friction: object = None
) -> dict[str, np.ndarray]:
    """Registers of passages of parts with ``lengths`` (n,); ``friction`` may be each passage's own."""
    mu = rig["friction"] if friction is None else friction
    a = G * (np.sin(rig["slope"]) - np.asarray(mu) * np.cos(rig["slope"]))
    dark, light = (np.broadcast_to(rig[key], 2) for key in ("dark", "light"))
    gates = (rig["first"], rig["first"] + rig["spacing"])

    def seen(travel: np.ndarray, delay: float) -> np.ndarray:
        return np.sqrt(2.0 * travel / a) + delay + rng.normal(0.0, rig["jitter"], len(lengths))

    started = seen(gates[0] + 0.0 * lengths, dark[0])
    ends = {
        "dwell": seen(gates[0] + lengths, light[0]),
        "capture": seen(gates[1] + 0.0 * lengths, dark[1]),
        "rear_capture": seen(gates[1] + lengths, light[1]),
    }
    phase = rng.random(len(lengths))
    return {name: np.floor(rig["frequency"] * (end - started) + phase) for name, end in ends.items()}


def log_of(registers: Mapping[str, np.ndarray], lengths: np.ndarray, time: np.ndarray | None = None) -> Log:
    """The log of these passages of reference parts."""
    numbers = {**registers, "reference": lengths} | ({} if time is None else {"time": time})
    return Log("plain.csv", numbers, {}, {}, tuple(range(2, len(lengths) + 2)), (), ())
