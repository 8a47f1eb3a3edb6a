"""Every trial of a study as rows of CSV. Lengths in m."""

import csv
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import TextIOWrapper
from pathlib import Path
from typing import TextIO

import numpy as np

from gatesim.ground.files import Target
from gatesim.ground.nested import Layout
from gatesim.studies.model import WORDS, Trials

EACH_ITS_OWN = Layout()
"""Every trial another part on another rig."""


@contextmanager
def trials_table(path: Path | None, layout: Layout) -> Iterator[Callable[[Trials], None] | None]:
    """A sink whose rows become the file when the block ends; None without one. Raises InputError."""
    if path is None:
        yield None
        return
    with Target(path, "table of trials").writing() as stream:
        text = TextIOWrapper(stream, encoding="utf-8", newline="")
        yield trials_writer(text, layout)
        text.detach()  # flushes, and leaves the stream to its owner


def trials_writer(file: TextIO, layout: Layout = EACH_ITS_OWN) -> Callable[[Trials], None]:
    """A sink for `gatesim.studies.engine.study` that writes one CSV row a trial.

    Columns: trial, true_length and one reading per formula in m (empty where there is none),
    outcome; number of the rig, and of the part on it.
    """
    writer = csv.writer(file, lineterminator="\n")
    count = 0

    def write(trials: Trials) -> None:
        nonlocal count
        if count == 0:
            names = [f"reading {name} / m" for name in trials.readings]
            writer.writerow(["trial", "true length / m", *names, "outcome", "rig", "part"])
        lengths = np.full(trials.outcome.shape, trials.true_length).tolist()
        columns = [np.where(np.isnan(r), "", r.astype(str)).tolist() for r in trials.readings.values()]
        words = [WORDS[code] for code in trials.outcome.tolist()]
        numbers = np.arange(count, count + len(words))
        rig, within = np.divmod(numbers, layout.each)
        part = within // layout.passages
        columns += [words, (rig + 1).tolist(), (part + 1).tolist()]
        writer.writerows(zip((numbers + 1).tolist(), lengths, *columns, strict=True))
        count += len(words)

    return write
