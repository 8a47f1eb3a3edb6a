"""Counts as a rig of a kind would log them, for trying out a fit or a proof before the rig stands."""

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from io import StringIO
from pathlib import Path

import numpy as np

from gatesim.api.given import Given, length
from gatesim.api.result import Result
from gatesim.chain import pipeline
from gatesim.ground.arrays import Array, first_of
from gatesim.ground.draw import Streams
from gatesim.ground.files import Target
from gatesim.scenario import Scenario

MM = 1e3


@dataclass(frozen=True, repr=False)
class Passages(Result):
    """Simulated passages of n parts on one rig: nothing here is measured.

    ``rig``: the values that this rig has, by name, SI. ``lengths`` (n,) in m; ``counts`` (n,) of
    each register, NaN where nothing was latched.
    """

    rig: Mapping[str, float]
    lengths: Array
    counts: Mapping[str, Array]

    def __str__(self) -> str:
        lines = [f"{self.lengths.size} simulated passages of one rig; not a measurement"]
        for name, counted in self.counts.items():
            read = counted[np.isfinite(counted)]
            span = f"{read.min():.0f} to {read.max():.0f}" if read.size else "nothing"
            lines.append(f"{name.replace('_', ' ')}: {span}")
        return "\n".join(lines)

    def save(self, path: Path | str) -> None:
        """Write a log that `gatesim.fit` takes, reference lengths in mm. Raises InputError."""
        text = StringIO()
        rows = csv.writer(text, lineterminator="\n")
        text.write("# simulated, not measured\n")
        rows.writerow(["reference [mm]", *(f"{name.replace('_', ' ')} [1]" for name in self.counts)])
        for reference, *counted in zip(self.lengths, *self.counts.values(), strict=True):
            rows.writerow([f"{MM * reference:.9g}", *("" if c != c else int(c) for c in counted)])
        Target(Path(path), "log").write(text.getvalue())


def passages(
    scenario: Scenario,
    lengths: Sequence[Given],
    *,
    varies: Sequence[str] = (),
    rig: Mapping[str, float] | None = None,
    seed: int = 1,
) -> Passages:
    """Let parts of these lengths (m, text or pint) pass one rig of the kind that the scenario describes.

    Every quantity with a spread is drawn once and is the rig's own, but for those that ``varies``
    names, which are new with every passage, as jitter and phases always are. ``rig``: the values
    of a rig that was drawn before.
    """
    known = np.array([length(value, "lengths") for value in lengths])
    spread = {
        name: q for name, q in scenario.inputs().items() if q.spread is not None and name != "part.length"
    }
    if rig is None:
        once = Streams(seed, 0, 1)
        rig = {n: first_of(q.sample(once, n)) for n, q in spread.items() if n.partition("@")[0] not in varies}
    draw = Streams(seed, 1, known.size)
    anew = {name: q.sample(draw, name) for name, q in spread.items() if name not in rig}
    counts = pipeline.run(scenario, draw, {**rig, **anew, "part.length": known}).counts
    logged = {name: value for name, value in vars(counts).items() if np.isfinite(value).any()}
    return Passages(rig, known, logged)
