"""Work on several things at once, each in its own process, with progress and Ctrl-C.

Light to import: a process loads what it works with when it begins.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing.queues import SimpleQueue
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from concurrent.futures import Future

T = TypeVar("T")

Progress = Callable[[float, float], None]
"""Called with how much of a piece of work is done, and the total."""
ProgressOfEach = Callable[[int, float, float], None]
"""The same, after the number of the task from 0."""

# Where each core has its own task, threads of the linear algebra only get in each other's way.
_ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")
_LOOK_EVERY_S = 0.1
_LEAST_STEP = 0.005  # of progress worth reporting, as a share

_steps: SimpleQueue[tuple[int, float, float]] | None = None


def usable_cores() -> int:
    """Cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def finished(
    function: Callable[[Progress, Any], T],
    tasks: Sequence[Any],
    *,
    processes: int,
    progress: ProgressOfEach | None = None,
) -> Iterator[tuple[int, Future[T]]]:
    """Run a function on many tasks and yield each result as it is ready, in any order.

    Parameters
    ----------
    function : callable
        Defined at the top level of a module, so that another process finds it; called with
        ``progress(done, total)`` and a task.
    tasks : sequence
        Arguments that can be pickled: paths, text and frozen types, never the book.
    processes : int
        At once.
    progress : callable, optional

    Yields
    ------
    (int, Future)
        The task's number from 0, and its result or what it raised.

    Notes
    -----
    If interrupted (Ctrl-C), it yields what is done by then, ends the others, and raises.
    """
    from concurrent.futures import FIRST_COMPLETED, ProcessPoolExecutor, wait

    context = multiprocessing.get_context("spawn")  # what has threads must not be forked
    steps: SimpleQueue[tuple[int, float, float]] = context.SimpleQueue()
    others = set(multiprocessing.active_children())
    pool = ProcessPoolExecutor(
        min(processes, max(1, len(tasks))),
        mp_context=context,
        initializer=_begin,
        initargs=(steps,),
    )
    waiting: dict[Future[T], int] = {}
    try:
        with _one_thread_each():
            for number, task in enumerate(tasks):
                waiting[pool.submit(_work, number, function, task)] = number
        while waiting:
            done, _ = wait(waiting, timeout=_LOOK_EVERY_S, return_when=FIRST_COMPLETED)
            while not steps.empty():
                step = steps.get()
                if progress is not None:
                    progress(*step)
            for future in sorted(done, key=waiting.__getitem__):
                yield waiting.pop(future), future
        pool.shutdown()
    except BaseException as error:
        pool.shutdown(wait=False, cancel_futures=True)
        for process in set(multiprocessing.active_children()) - others:
            process.terminate()
        if isinstance(error, KeyboardInterrupt):
            for future, number in list(waiting.items()):
                if future.done() and not future.cancelled() and future.exception() is None:
                    yield number, future
        raise
    finally:
        steps.close()


@contextmanager
def _one_thread_each() -> Iterator[None]:
    """Anything started within finds it in its environment before loading anything."""
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(dict.fromkeys(_ONE_THREAD, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def _begin(steps: SimpleQueue[tuple[int, float, float]]) -> None:
    """What each process does first."""
    global _steps  # noqa: PLW0603 - a pool's process has no other place for what it is given
    _steps = steps
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the parent decides when it ends
    threading.Thread(target=_end_with_parent, daemon=True).start()


def _end_with_parent() -> None:
    parent = multiprocessing.parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _work(number: int, function: Callable[[Progress, Any], T], task: object) -> T:
    last = -1.0

    def progress(done: float, total: float) -> None:
        nonlocal last
        share = min(1.0, done / total) if total > 0.0 else 0.0
        if _steps is not None and (share - last >= _LEAST_STEP or share >= 1.0 > last):
            last = share
            _steps.put((number, done, total))

    return function(progress, task)
