"""Work for the page: the newest change first, what it overtakes dropped."""

import asyncio
from collections.abc import AsyncIterator, Callable
from concurrent.futures import CancelledError, Executor, Future, ThreadPoolExecutor
from dataclasses import dataclass
from functools import partial
from typing import Any, Protocol

from gatesim.chain.pipeline import Measured
from gatesim.ground.errors import InputError
from gatesim.scenario import Scenario

Json = dict[str, Any]
REST = 0.04
"""Seconds without a newer change after which a hand is taken to rest: in a drag only pictures follow."""
FIRST_LOOK, SECOND_LOOK = 128, 2048
"""Trials of the study that comes at once, and of the one that follows when the hand rests."""


class Answers(Protocol):
    """What the chain says of a scenario, as plain data."""

    def reading(self, scenario: Scenario) -> tuple[Json, Measured]:
        """What is read, and the passage that the others begin with."""
        ...

    def passage(self, scenario: Scenario, passed: Measured) -> Json:
        """What the pictures are drawn from."""
        ...

    def distribution(self, scenario: Scenario, passed: Measured, trials: int, executor: Executor) -> Json:
        """A small study."""
        ...

    def why(self, scenario: Scenario, passed: Measured) -> Json:
        """The error split among its causes."""
        ...

    def along(self, scenario: Scenario, passed: Measured) -> Json:
        """What the forces along the path amount to."""
        ...

    def changes(self, scenario: Scenario, executor: Executor) -> Json:
        """What would change the reading."""
        ...

    def page(self, scenario: Scenario) -> str:
        """The report."""
        ...


class Errand(Executor):
    """All work that one request started; `drop` ends it. What it submits goes to the pool for at once."""

    def __init__(self, pools: "Pools") -> None:
        self.pools, self.dropped = pools, False
        self.futures: list[Future[Any]] = []

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        """Hand work to the pool. Raises CancelledError once the errand was dropped."""
        return self._keep(self.pools.at_once, fn, args, kwargs)

    @property
    def later(self) -> "Later":
        """The same errand's place for what can wait."""
        return Later(self)

    def _keep(self, pool: Executor, fn: Callable[..., Any], args: Any, kwargs: Any) -> "Future[Any]":
        if self.dropped:
            raise CancelledError
        future = pool.submit(fn, *args, **kwargs)
        self.futures.append(future)
        return future

    def drop(self) -> None:
        """Take back what has not begun; what has runs out."""
        self.dropped = True
        for future in self.futures:
            future.cancel()


class Later(Executor):
    """Hands an errand's work to the pool for what can wait."""

    def __init__(self, errand: Errand) -> None:
        self.errand = errand

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        """As `Errand.submit`."""
        return self.errand._keep(self.errand.pools.later, fn, args, kwargs)


@dataclass(frozen=True)
class Pools:
    """Where work is done: ``at_once`` what a hand waits for, ``later`` what follows when it rests.

    Two, so that work for later, which runs out when it is overtaken, is in nobody's way.
    """

    at_once: Executor
    later: Executor


@dataclass(frozen=True)
class PageQuestion:
    """A request: the number that its page gave it, and the errand it began."""

    number: int
    errand: Errand


class Desk:
    """Answers requests of pages; a later number of a page drops its earlier work."""

    def __init__(self, answers: Answers, pools: Pools) -> None:
        self.answers, self.pools = answers, pools
        self.newest: dict[str, PageQuestion] = {}
        self.first = ThreadPoolExecutor(1, "reading")
        self.rest = ThreadPoolExecutor(8, "study")

    def begin(self, page: str, number: int) -> PageQuestion | None:
        """Take a request on, and drop what it overtakes; None where it was itself overtaken."""
        before = self.newest.get(page)
        if before is not None and before.number >= number:
            return None
        if before is not None:
            before.errand.drop()
        asked = PageQuestion(number, Errand(self.pools))
        self.newest[page] = asked
        return asked

    async def reading(self, scenario: Scenario) -> tuple[Json, Measured]:
        """What is read, in the one thread that does nothing else."""
        return await asyncio.get_running_loop().run_in_executor(self.first, self.answers.reading, scenario)

    async def follow(
        self, scenario: Scenario, passed: Measured, errand: Errand
    ) -> AsyncIterator[tuple[str, Json]]:
        """Everything else as it comes: pictures, distribution, causes, changes; ends early if dropped."""
        try:
            for together in self._steps(scenario, passed, errand):
                for task in asyncio.as_completed([self._one(*step, errand) for step in together.items()]):
                    name, found = await task
                    if errand.dropped:
                        return
                    yield name, found
        finally:
            errand.drop()

    async def _one(self, name: str, work: Callable[[], Json], errand: Errand) -> tuple[str, Json]:
        if name != "passage":
            await asyncio.sleep(REST)
        if errand.dropped:
            return name, {"missing": "overtaken"}
        return name, await asyncio.get_running_loop().run_in_executor(self.rest, _told, work)

    def _steps(
        self, scenario: Scenario, passed: Measured, errand: Errand
    ) -> list[dict[str, Callable[[], Json]]]:
        a = self.answers
        look = partial(a.distribution, scenario, passed)

        def of(work: Callable[[Scenario, Measured], Json], place: Executor) -> Callable[[], Json]:
            return lambda: place.submit(work, scenario, passed).result()

        return [
            {"passage": of(a.passage, errand), "distribution": partial(look, FIRST_LOOK, errand)},
            {"why": of(a.why, errand), "distribution": partial(look, SECOND_LOOK, errand.later)},
            {"along": of(a.along, errand.later), "changes": partial(a.changes, scenario, errand.later)},
        ]

    def close(self) -> None:
        """Drop everything."""
        for asked in self.newest.values():
            asked.errand.drop()
        self.first.shutdown(wait=False, cancel_futures=True)
        self.rest.shutdown(wait=False, cancel_futures=True)


def _told(work: Callable[[], Json]) -> Json:
    """What the work gives, or why it gives nothing."""
    try:
        return work()
    except CancelledError:
        return {"missing": "overtaken"}
    except (InputError, ArithmeticError) as problem:
        return {"missing": str(problem)}
    except Exception as fault:  # the other answers stand
        return {"missing": f"not computed, by a fault of gatesim: {fault!r}"}
