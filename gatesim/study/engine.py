"""Runs the blocks of a study, on one or many workers, with the same bits whichever.

Any `concurrent.futures.Executor` will do. On a cluster that runs dask.distributed:
``study(model, plan, executor=Client("tcp://...").get_executor())`` (extra ``cluster``).
"""

import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, Future, ProcessPoolExecutor, wait
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from gatesim.problem import InputError
from gatesim.study import state
from gatesim.study.block import Block, Summary, run_block
from gatesim.study.draws import assign_dimensions, names_drawn
from gatesim.study.model import Model, Trials
from gatesim.study.plan import Plan
from gatesim.study.result import StudyResult, result_of
from gatesim.study.until import LEAST_SEQUENCES

SMALL = 8  # blocks; fewer are done before a process pool has started


class InThisProcess(Executor):
    """Runs each task when it is submitted."""

    def submit(self, fn: Callable[..., Any], /, *args: Any, **kwargs: Any) -> "Future[Any]":
        """Run ``fn`` now; the future that comes back is done."""
        future: Future[Any] = Future()
        try:
            future.set_result(fn(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def _ignore_interrupt() -> None:
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def usable_cores() -> int:
    """Cores this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def pool(workers: int) -> Iterator[Executor]:
    """Executor of this machine: a process pool whose workers leave Ctrl-C to the main process."""
    if workers == 1:
        yield InThisProcess()
        return
    with ProcessPoolExecutor(workers, initializer=_ignore_interrupt) as executor:
        yield executor


@contextmanager
def ctrl_c_waits() -> Iterator[threading.Event]:
    """The first Ctrl-C sets the event, so that a block is never half taken in; the second one kills."""
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return

    def handle(number: int, frame: Any) -> None:
        stop.set()
        signal.signal(signal.SIGINT, before)

    before = signal.signal(signal.SIGINT, handle)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


def _stable(summary: Summary, plan: Plan) -> bool:
    """Whether the averages have settled by JCGM 101, 7.9.4: twice their standard deviation <= delta."""
    assert plan.until is not None
    read = [f for f in summary.formulas.values() if f.moments.count]
    if not read:
        return False
    for formula in read:
        h = formula.scatter.count
        tolerance = plan.until.tolerance(formula.moments.std)
        # the first four figures are those the clause names: y, u(y) and the two ends
        if h < LEAST_SEQUENCES or (2.0 * formula.scatter.std[:4] / h**0.5 > tolerance).any():
            return False
    return True


class _Queue:
    """Blocks in flight and blocks done out of turn."""

    def __init__(
        self, executor: Executor, task: Callable[[int], Block], start: int, end: int, done: dict[int, Block]
    ) -> None:
        self.executor, self.task = executor, task
        self.todo = (i for i in range(start, end) if i not in done)
        self.flying: dict[Future[Block], int] = {}
        self.done = done

    def fill(self, window: int) -> None:
        """Keep ``window`` blocks in flight or done out of turn: memory stays bounded."""
        while not self.flying or len(self.flying) + len(self.done) < window:
            if (index := next(self.todo, None)) is None:
                return
            self.flying[self.executor.submit(self.task, index)] = index

    def collect(self) -> None:
        """Wait until at least one block in flight is done."""
        for future in wait(self.flying, return_when=FIRST_COMPLETED).done:
            self.done[self.flying.pop(future)] = future.result()

    def cancel(self) -> None:
        """Drop what has not begun."""
        for future in self.flying:
            future.cancel()


def _run(
    queue: _Queue,
    plan: Plan,
    summary: Summary,
    window: int,
    taken: Callable[[Block], None],
    save: Callable[[], None],
) -> str:
    with ctrl_c_waits() as stop:
        while summary.blocks < plan.blocks:
            if plan.until and _stable(summary, plan):
                return "tolerance reached"
            if stop.is_set():
                return "interrupted"
            if summary.blocks not in queue.done:
                queue.fill(window)
                queue.collect()
            if (block := queue.done.pop(summary.blocks, None)) is not None:
                summary.add(block, plan.size(summary.blocks) == plan.block)
                taken(block)
            save()
    if plan.until:
        return "tolerance reached" if _stable(summary, plan) else "most trials reached, tolerance not"
    return "complete"


def study(
    model: Model,
    plan: Plan,
    executor: Executor | None = None,
    workers: int | None = None,
    state_file: Path | None = None,
    sink: Callable[[Trials], None] | None = None,
    progress: bool = False,
) -> StudyResult:
    """Monte Carlo study of a model (JCGM 101).

    The result depends on model and plan alone: not on executor, workers or interruptions.
    ``executor``: where the blocks run; by default a process pool of ``workers`` (all usable
    cores). ``state_file``: kept up to date after every block, and gone on from if it exists.
    ``sink``: called with the trials of each block, in order. Ctrl-C ends the study early
    and returns what was reached. Raises InputError for a foreign state file or no trials.
    """
    if plan.trials < 1:
        raise InputError(f"trials: given {plan.trials}, expected at least 1")
    if sink is not None and state_file is not None:
        raise InputError(
            "trials cannot be exported by a study that keeps a state file; leave one of the two out"
        )
    summary, waiting = state.load(state_file, model, plan) if state_file else (Summary(plan.coverage), {})
    dimensions = assign_dimensions(names_drawn(model)) if plan.quasi else {}
    task = partial(_run_index, model, plan, dimensions, sink is not None)
    cores = workers or usable_cores()
    if executor is not None:
        return _study_on(executor, task, model, plan, summary, waiting, 64, state_file, sink, progress)
    with pool(1 if plan.blocks - summary.blocks <= SMALL else cores) as own:
        window = 1 if isinstance(own, InThisProcess) else 2 * cores
        return _study_on(own, task, model, plan, summary, waiting, window, state_file, sink, progress)


def _run_index(
    model: Model, plan: Plan, dimensions: dict[str, tuple[int, int]], keep: bool, index: int
) -> Block:
    return run_block(model, plan, dimensions, index, keep)


def _study_on(
    executor: Executor,
    task: Callable[[int], Block],
    model: Model,
    plan: Plan,
    summary: Summary,
    waiting: dict[int, Block],
    window: int,
    state_file: Path | None,
    sink: Callable[[Trials], None] | None,
    progress: bool,
) -> StudyResult:
    from tqdm import tqdm  # deferred: costs start-up time

    queue = _Queue(executor, task, summary.blocks, plan.blocks, waiting)
    total = plan.blocks * plan.block if plan.quasi else plan.trials
    with tqdm(
        total=total, initial=summary.trials, unit=" trials", unit_scale=True, disable=not progress
    ) as bar:

        def taken(block: Block) -> None:
            if sink is not None and block.trials is not None:
                sink(block.trials)
            bar.update(summary.trials - bar.n)

        def save() -> None:
            if state_file is not None:
                state.save(state_file, model, plan, summary, queue.done)

        ended = _run(queue, plan, summary, window, taken, save)
    queue.cancel()
    return result_of(summary, plan, ended)
