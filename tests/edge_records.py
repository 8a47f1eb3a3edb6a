"""Records of edges whose truth is known, made by independent code: no line of the simulator's is used."""

import math
from dataclasses import dataclass

import numpy as np

G = 9.80665

SLIDE = """
[part]
length = "200 mm"
[path]
slope = "40 deg"
friction = 0.3
[gate]
first = "400 mm"
spacing = { value = "80 mm", distribution = "normal", standard_uncertainty = "0.05 mm" }
[sensor]
dark_delay = "50 us"
light_delay = "60 us"
jitter = "4 us"
[counter]
frequency = "100 kHz"
"""


@dataclass(frozen=True)
class Truth:
    """What a record is made with, SI."""

    friction: float = 0.27
    length: float = 0.2
    spacing: float = 0.08
    dark_delay: float = 50e-6
    light_delay: float = 60e-6
    jitter: float = 6e-6
    mean_pulses: float = 0.0
    mean_spacing: float = 40e-6
    release: float = 0.4


def own_edges(truth: Truth, rng: np.random.Generator, release: float | None = None) -> list[np.ndarray]:
    """Dark and light edge at two gates under constant acceleration, t = sqrt(2 x/a), late and jittered."""
    angle = math.radians(40.0)
    a = G * (math.sin(angle) - truth.friction * math.cos(angle))
    first = truth.release if release is None else release
    gates = []
    for gate in (first, first + truth.spacing):
        times = np.sqrt(2.0 * np.array([gate, gate + truth.length]) / a)
        late = np.array([truth.dark_delay, truth.light_delay])
        gates.append(times + late + truth.jitter * rng.standard_normal(2))
    return gates


def chattering(edges: np.ndarray, truth: Truth, rng: np.random.Generator) -> np.ndarray:
    """With a Poisson number of pulses after each edge, exponential times from edge to edge."""
    found: list[float] = []
    for edge in edges.tolist():
        waits = rng.exponential(truth.mean_spacing, 2 * rng.poisson(truth.mean_pulses))
        found += [edge, *(edge + np.cumsum(waits)).tolist()]
    return np.array(found)


def stable_for(edges: np.ndarray, time: float) -> np.ndarray:
    """Level accepted after it held for ``time``: a loop over edges and a timer."""
    out, level, accepted = [], False, False
    for k, edge in enumerate(edges):
        level = not level
        until = edges[k + 1] if k + 1 < len(edges) else math.inf
        if edge + time <= until and level != accepted:
            out.append(edge + time)
            accepted = level
    return np.array(out)


def hold_off(edges: np.ndarray, time: float) -> np.ndarray:
    """A change is taken at once, then the input is not looked at for ``time``: steps of one event."""
    out: list[float] = []
    accepted, blind_until = False, -math.inf
    events = edges.tolist()
    k, level = 0, False
    while k < len(events) or (level != accepted and blind_until < math.inf):
        nxt = events[k] if k < len(events) else math.inf
        if level != accepted and blind_until <= nxt:  # the timer runs out on a level that differs
            out.append(blind_until)
            accepted, blind_until = level, blind_until + time
            continue
        if k >= len(events):
            break
        k, level = k + 1, not level
        if nxt >= blind_until and level != accepted:
            out.append(nxt)
            accepted, blind_until = level, nxt + time
    return np.array(out)


def as_csv(channels: dict[str, list[np.ndarray]], step: float = 1e-7) -> str:
    """One row an edge, passages 2 s apart, time stamps cut to the step as by a free-running recorder."""
    rows = []
    for name, passages in channels.items():
        for number, edges in enumerate(passages):
            rows += [(2.0 * number + 0.1 + t, name, 1 - k % 2) for k, t in enumerate(edges.tolist())]
    lines = [f"0,{name},0" for name in channels]
    digits = round(-math.log10(step))
    lines += [f"{math.floor(t / step) * step:.{digits}f},{name},{level}" for t, name, level in sorted(rows)]
    return "time [s],channel,level\n" + "\n".join(lines) + "\n"


def record(truth: Truth, passages: int, seed: int, step: float = 1e-7, release_std: float = 0.0) -> str:
    """A record of the two sensors over so many passages of one part."""
    rng = np.random.default_rng(seed)
    gates: tuple[list[np.ndarray], list[np.ndarray]] = ([], [])
    for _ in range(passages):
        for lane, edges in zip(
            gates, own_edges(truth, rng, truth.release + release_std * rng.standard_normal()), strict=True
        ):
            lane.append(chattering(edges, truth, rng))
    return as_csv({"D0": gates[0], "D1": gates[1]}, step)
