"""Processes that work on blocks: as many as there are cores, and none left when their parent is gone."""

import os
import signal
import threading
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future, ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, connection, parent_process
from typing import Any

SMALL = 8  # blocks; fewer are done before a process pool has started
WINDOW = 256  # blocks in flight on an executor of unknown size; about 80 kB each and formula


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


def usable_cores() -> int:
    """Cores this process may run on."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _begin(niceness: int) -> None:
    """A worker leaves Ctrl-C to its parent, and ends when its parent does, even by kill -9."""
    if niceness and hasattr(os, "nice"):
        os.nice(niceness)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


@contextmanager
def pool(workers: int, niceness: int = 0) -> Iterator[Executor]:
    """Executor of this machine: a process pool whose workers leave Ctrl-C to the main process.

    ``niceness``: by how much they give way to other processes, where the system knows of that.
    """
    if workers == 1:
        yield InThisProcess()
        return
    others = set(active_children())
    with ProcessPoolExecutor(workers, initializer=_begin, initargs=(niceness,)) as executor:
        try:
            yield executor
        except BaseException:  # stopped or failed: nobody waits for what the workers are at
            executor.shutdown(wait=False, cancel_futures=True)
            for worker in set(active_children()) - others:
                worker.terminate()
            raise


@contextmanager
def place(executor: Executor | None, workers: int | None, blocks: int) -> Iterator[tuple[Executor, int]]:
    """Where the blocks run, and how many of them are in flight at a time."""
    if executor is not None:
        yield executor, 1 if isinstance(executor, InThisProcess) else WINDOW
        return
    cores = 1 if blocks <= SMALL else min(workers or usable_cores(), blocks)
    with pool(cores) as own:
        yield own, 1 if cores == 1 else 2 * cores
