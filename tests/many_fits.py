"""Many fits at a time, whose expected counts are computed in one batch: each with the result it has alone."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from functools import partial
from itertools import islice
from threading import Condition, Thread
from typing import Any, TypeVar
from unittest.mock import patch

import numpy as np

from gatesim.chain import pipeline
from gatesim.counter.counter import REGISTERS
from gatesim.ground.arrays import Array
from gatesim.ground.draw import Nominal
from gatesim.scenario import Scenario
from gatesim.shopfloor.fit.fit import estimate
from gatesim.shopfloor.fit.forward import Forward
from gatesim.shopfloor.fit.result import Fit, FitOptions
from gatesim.shopfloor.log import Log

T = TypeVar("T")
AT_A_TIME = 50


@dataclass
class _Asked:
    """Passages without scatter that one fit asks for, and their counts (t, 4) once they are there."""

    scenario: Scenario
    values: dict[str, Array]
    counts: Array | None = None


@dataclass
class _Table:
    """Where fits meet: one runs at a time, and when all wait they are answered together."""

    running: int
    turn: Condition = field(default_factory=Condition)
    waiting: list[_Asked] = field(default_factory=list)

    def expected(
        self, forward: Forward, deviations: Array, lengths: Array, shifts: Any = None, moments: Any = 0.0
    ) -> Array:
        values = forward._values(forward.smooth, deviations, lengths, shifts or {}, moments)
        asked = _Asked(forward.smooth, {name: np.broadcast_to(v, len(lengths)) for name, v in values.items()})
        self.waiting.append(asked)
        self.answer_if_all_wait()
        self.turn.wait_for(lambda: asked.counts is not None)
        assert asked.counts is not None
        return asked.counts

    def answer_if_all_wait(self) -> None:
        if len(self.waiting) < self.running:
            return
        groups: dict[Any, list[_Asked]] = {}
        for asked in self.waiting:
            groups.setdefault((asked.scenario, tuple(asked.values)), []).append(asked)
        for (scenario, names), alike in groups.items():
            sizes = [len(asked.values["part.length"]) for asked in alike]
            values = {name: np.concatenate([asked.values[name] for asked in alike]) for name in names}
            counts = pipeline.run(scenario, Nominal(sum(sizes)), values, quantised=False).counts
            table = np.stack([getattr(counts, name) for name in REGISTERS], axis=1)
            for asked, part in zip(alike, np.split(table, np.cumsum(sizes)[:-1]), strict=True):
                asked.counts = part
        self.waiting.clear()
        self.turn.notify_all()


def side_by_side(jobs: Iterable[Callable[[], T]]) -> list[T]:
    """What each job returns, in order; a job may fit as often as it likes."""
    jobs, done = iter(jobs), []
    while some := list(islice(jobs, AT_A_TIME)):
        done += _together(some)
    return done


def estimates(scenario: Scenario, logs: Iterable[Log], options: FitOptions) -> list[Fit]:
    """What `estimate` finds in each log."""
    return side_by_side(partial(estimate, scenario, log, options) for log in logs)


def _together(jobs: list[Callable[[], T]]) -> list[T]:
    table = _Table(len(jobs))
    results: dict[int, T] = {}
    failures: list[BaseException] = []

    def work(place: int) -> None:
        with table.turn:
            try:
                results[place] = jobs[place]()
            except BaseException as failure:  # raised again below, where pytest sees it
                failures.append(failure)
            table.running -= 1
            if table.running:
                table.answer_if_all_wait()

    def expected(forward: Forward, *given: Any, **named: Any) -> Array:
        return table.expected(forward, *given, **named)

    with patch.object(Forward, "expected", expected):
        threads = [Thread(target=work, args=(place,)) for place in range(len(jobs))]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    if failures:
        raise failures[0]
    return [results[place] for place in range(len(jobs))]
