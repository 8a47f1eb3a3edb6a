"""Logs of rigs whose truth is known: simulated here, not measured anywhere."""

from collections.abc import Mapping

import numpy as np

from gatesim.chain import pipeline
from gatesim.counter.counter import REGISTERS
from gatesim.ground.draw import Streams
from gatesim.scenario import Scenario, parse_text
from gatesim.shopfloor.log import Log

# A slide with constant acceleration: round figures, no rig in particular.
SLIDE = """
[part]
length = "200 mm"
mass = "0.2 kg"
[path]
slope = { value = "40 deg", distribution = "normal", standard_uncertainty = "0.1 deg" }
friction = 0.3
[gate]
first = { value = "400 mm", distribution = "rectangular", half_width = "1 mm" }
spacing = { value = "80 mm", distribution = "normal", standard_uncertainty = "0.05 mm" }
[sensor]
dark_delay = { value = "50 us", distribution = "normal", standard_uncertainty = "4 us" }
light_delay = { value = "60 us", distribution = "normal", standard_uncertainty = "4 us" }
jitter = "4 us"
[counter]
frequency = "100 kHz"
"""


def rig(text: str = SLIDE, **tables: str) -> Scenario:
    """A scenario from text, with lines added at the head of its tables."""
    for table, lines in tables.items():
        head = f"[{table}]\n"
        text = text.replace(head, f"{head}{lines}\n") if head in text else f"{text}{head}{lines}\n"
    return parse_text(text, "rig.toml")


def logs(
    scenario: Scenario,
    references: np.ndarray,
    count: int,
    seed: int,
    truth: Mapping[str, float] | None = None,
    *,
    varies: tuple[str, ...] = (),
    labels: bool = True,
) -> tuple[list[Log], dict[str, np.ndarray]]:
    """So many logs of rows with the given true lengths, and the truth (logs,) of every input.

    Every log is a rig of its own: quantities with a spread are drawn once a log, save those
    that vary from passage to passage. Without ``labels`` the lengths are not told.
    """
    rows = len(references)
    once = Streams(seed, 0, count)
    values = {k: np.broadcast_to(q.sample(once, k), (count,)) for k, q in scenario.inputs().items()}
    values |= {k: np.full(count, v) for k, v in (truth or {}).items()}
    drawn = {k: np.repeat(v, rows) for k, v in values.items() if k not in varies and k != "part.length"}
    drawn["part.length"] = np.tile(references, count)
    counts = pipeline.run(scenario, Streams(seed, 1, count * rows), drawn).counts
    made = []
    for k in range(count):
        numbers = {name: getattr(counts, name)[k * rows : (k + 1) * rows] for name in REGISTERS}
        numbers = {name: column for name, column in numbers.items() if np.isfinite(column).any()}
        if labels:
            numbers["reference"] = references
        made.append(Log("simulated.csv", numbers, {}, {}, tuple(range(2, rows + 2)), (), ()))
    return made, values
