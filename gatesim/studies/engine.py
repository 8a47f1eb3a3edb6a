"""Runs the blocks of a study, on one or many workers, with the same bits whichever.

Any `concurrent.futures.Executor` will do. On a cluster that runs dask.distributed:
``study(model, plan, executor=Client("tcp://...").get_executor())`` (extra ``cluster``).
"""

import signal
import sys
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Executor, Future, wait
from contextlib import contextmanager, nullcontext
from functools import partial
from pathlib import Path
from typing import Any

from gatesim.ground.errors import InputError
from gatesim.ground.files import reason
from gatesim.studies import state
from gatesim.studies.block import Block, Summary, run_blocks
from gatesim.studies.concluded import result_of
from gatesim.studies.draws import Drawn, assign_dimensions, names_drawn
from gatesim.studies.estimate import Forecast
from gatesim.studies.model import Model, Prepared, Trials, layout_of
from gatesim.studies.plan import Plan
from gatesim.studies.result import StudyResult
from gatesim.studies.until import LEAST_SEQUENCES
from gatesim.studies.workers import place


@contextmanager
def _ctrl_c_waits() -> Iterator[threading.Event]:
    """The first Ctrl-C sets the event, so that a block is never half taken in; the second one kills.

    Does nothing in threads, and in workers, which leave Ctrl-C to the main process.
    """
    stop = threading.Event()
    in_main_thread = threading.current_thread() is threading.main_thread()
    if not in_main_thread or signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
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


AT_LEAST, AT_MOST = 512, 4096
"""Trials of small blocks worked on together: from the first on a motion's calls cost little a trial."""

TASKS = 4
"""In so many pieces beyond that, so that several workers have something to do."""


class _Queue:
    """Tasks of blocks in flight on an executor, and blocks done out of turn."""

    def __init__(
        self,
        executor: Executor,
        window: int,
        task: Callable[[Sequence[int]], list[Block]],
        todo: Sequence[Sequence[int]],
        done: dict[int, Block],
    ) -> None:
        self.executor, self.window, self.task, self.done = executor, window, task, done
        self.todo, self.each = iter(todo), max(map(len, todo), default=1)
        self.flying: dict[Future[list[Block]], Sequence[int]] = {}

    def fill(self) -> None:
        """Keep the window full; it bounds the memory."""
        while not self.flying or len(self.flying) + len(self.done) / self.each < self.window:
            if (indices := next(self.todo, None)) is None:
                return
            self.flying[self.executor.submit(self.task, indices)] = indices

    def collect(self) -> None:
        """Wait until at least one task in flight is done."""
        for future in wait(self.flying, return_when=FIRST_COMPLETED).done:
            self.done.update(zip(self.flying.pop(future), future.result(), strict=True))

    def cancel(self) -> None:
        """Drop what has not begun."""
        for future in self.flying:
            future.cancel()


UNSAVED = "stopped, since "
"""How the end of a study begins whose state file or table of trials could no longer be written."""


def _run(queue: _Queue, plan: Plan, summary: Summary, taken: Callable[[Block | None], str]) -> str:
    """Take in block after block; ``taken`` hears of each, and of blocks done out of turn (None).

    It returns why the study cannot go on, or nothing.
    """
    with _ctrl_c_waits() as stop:
        while summary.blocks < plan.blocks:
            if plan.until and _stable(summary, plan):
                return "tolerance reached"
            if stop.is_set():
                return "interrupted"
            if summary.blocks not in queue.done:
                queue.fill()
                queue.collect()
            block = queue.done.pop(summary.blocks, None)
            if block is not None:
                summary.add(block, plan.size(summary.blocks) == plan.block)
            if trouble := taken(block):
                return f"{UNSAVED}{trouble}"
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
    drawn: Drawn | None = None,
) -> StudyResult:
    """Monte Carlo study of a model (JCGM 101).

    The result depends on model and plan alone: not on executor, workers or interruptions.
    ``executor``: where the blocks run; by default a process pool of ``workers`` (all usable
    cores). ``state_file``: kept up to date after every block, and gone on from if it exists.
    ``drawn``: what `gatesim.studies.draws.names_drawn` says of the model and its layout, where it is known.
    ``sink``: called with the trials of each block, in order. An OSError of it, or Ctrl-C, ends
    the study early and returns what was reached. Raises InputError for a foreign state file or no trials.
    """
    if plan.trials < 1:
        raise InputError(f"trials: given {plan.trials}, expected at least 1")
    if sink is not None and state_file is not None:
        raise InputError("trials cannot be exported by a study with a state file; leave one of the two out")
    with nullcontext() if state_file is None else state.held(state_file):
        return _study(model, plan, (executor, workers), state_file, sink, progress, drawn)


def _tasks(plan: Plan, indices: Sequence[int]) -> list[Sequence[int]]:
    """Blocks to run, so many a task."""
    shared = min(AT_MOST // plan.block, -(-len(indices) // TASKS))
    some = max(AT_LEAST // plan.block, shared, 1)
    return [indices[first : first + some] for first in range(0, len(indices), some)]


def _prepared(model: Model, plan: Plan) -> Model:
    """The model as the blocks of a study run it."""
    return model.prepared(plan.expected, plan.calibration) if isinstance(model, Prepared) else model


def _study(
    model: Model,
    plan: Plan,
    where: tuple[Executor | None, int | None],
    state_file: Path | None,
    sink: Callable[[Trials], None] | None,
    progress: bool,
    drawn: Drawn | None,
) -> StudyResult:
    from tqdm import tqdm  # deferred: costs start-up time

    if plan.quasi:
        import scipy.stats.qmc  # noqa: F401  # here, or every worker that is forked would load it by itself

    layout = layout_of(model)
    fresh = Summary(plan.coverage, layout)
    summary, waiting = state.load(state_file, model, plan) if state_file else (fresh, {})
    drawn = names_drawn(model, layout) if plan.quasi and drawn is None else drawn
    dimensions = assign_dimensions(drawn, each=layout.each) if plan.quasi and drawn else {}
    todo = _tasks(plan, [index for index in range(summary.blocks, plan.blocks) if index not in waiting])
    bar = tqdm(
        total=plan.blocks * plan.block if plan.quasi else plan.trials,
        initial=summary.trials,
        unit=" trials",
        unit_scale=True,
        disable=not progress,
    )
    with bar, place(*where, len(todo)) as (there, window):
        ready = _prepared(model, plan) if todo else model
        task = partial(run_blocks, ready, plan, dimensions, sink is not None)
        queue = _Queue(there, window, task, todo, waiting)
        forecast = Forecast(plan, summary.blocks)

        def taken(block: Block | None) -> str:
            try:
                if sink is not None and block is not None and block.trials is not None:
                    sink(block.trials)
            except OSError as error:
                return f"the trials cannot be written any more ({reason(error)})"
            bar.update(summary.trials - bar.n)
            if progress and (told := forecast.sentence(summary)):
                bar.write(told, sys.stderr)
            try:
                if state_file is not None:
                    state.save(state_file, model, plan, summary, queue.done)
            except InputError as error:
                return str(error)
            return ""

        ended = _run(queue, plan, summary, taken)
        queue.cancel()
    return result_of(summary, plan, ended, model)
