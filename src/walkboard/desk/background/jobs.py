"""Long work in a separate process, with progress, stoppable.

One job runs at a time, the others wait: a laptop's two cores also serve the pages. Automatic work
gives way to work somebody asked for.
"""

from __future__ import annotations

import multiprocessing
import os
import pickle
import secrets
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, replace
from enum import StrEnum
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import Any

from walkboard.book.rows.acting import recording_as, signed_in
from walkboard.errors import WalkboardError

Progress = Callable[[float, float], None]
TOPIC = "jobs"
_KEPT_ENDED = 50  # jobs that are over and still listed
_PATIENT = 15  # of a background job's process, as `nice` counts


class JobState(StrEnum):
    """Where a job is."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"
    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Job:
    """The state of one piece of long work.

    Attributes
    ----------
    id, kind, title : str
        ``kind`` is the page's own word; ``title`` is shown.
    share : float
        Done, 0 to 1.
    state : JobState
    trouble : str
        Why it failed, as text for the user.
    subject : str
        What it belongs to, as ``visit.3``.
    """

    id: str
    kind: str
    title: str
    share: float = 0.0
    state: JobState = JobState.WAITING
    trouble: str = ""
    subject: str = ""

    @property
    def is_over(self) -> bool:
        """Whether it is finished."""
        return self.state in {JobState.DONE, JobState.FAILED, JobState.STOPPED}


@dataclass(eq=False)
class _Task:
    job: Job
    function: Callable[..., Any]
    arguments: tuple[Any, ...]
    then: Callable[[Any], None]
    finally_: Callable[[], None]
    gives_way: bool = False
    process: BaseProcess | None = None


class Jobs:
    """Runs long work and reports its progress.

    Parameters
    ----------
    changed : callable
        Called with the list of all jobs whenever one changes; from a thread.
    """

    def __init__(self, changed: Callable[[tuple[Job, ...]], None]) -> None:
        self._changed = changed
        self._lock = threading.Condition()
        self._waiting: deque[_Task] = deque()
        self._all: dict[str, _Task] = {}
        self._thread: threading.Thread | None = None
        self._is_closed = False

    def start(
        self,
        kind: str,
        title: str,
        function: Callable[..., Any],
        *arguments: Any,
        then: Callable[[Any], None] = lambda _: None,
        finally_: Callable[[], None] = lambda: None,
        subject: str = "",
    ) -> Job:
        """Put work in the queue.

        Parameters
        ----------
        kind, title, subject : str
            As in `Job`.
        function : callable
            Defined at the top level of a module, so that another process finds it. It is called
            with ``progress(done, total)`` and then the arguments; what it raises as
            `WalkboardError` is shown to the user.
        arguments
            Anything that can be pickled: paths and frozen types, never the book.
        then : callable
            Called with the result, in this process; store it in the book there: it is recorded as
            by whoever asked for the work.
        finally_ : callable
            Called at the end in any case, also if the job was stopped while waiting: remove the
            uploaded file there.
        """
        job = Job(secrets.token_hex(6), kind, title, subject=subject)
        asked_by = signed_in()

        def keep(result: Any) -> None:
            with recording_as(asked_by):
                then(result)

        for other in self._giving_way():
            self.stop(other.id)
        return self._add(_Task(job, function, arguments, keep, finally_))

    def start_in_background(
        self,
        kind: str,
        title: str,
        function: Callable[..., Any],
        *arguments: Any,
        then: Callable[[Any], None] = lambda _: None,
        subject: str = "",
    ) -> Job:
        """The same for automatic work: low priority, and stopped as soon as somebody asks for
        work.
        """
        job = Job(secrets.token_hex(6), kind, title, subject=subject)
        return self._add(_Task(job, function, arguments, then, lambda: None, gives_way=True))

    def all(self) -> tuple[Job, ...]:
        """Every job, oldest first; finished ones stay listed for a while."""
        with self._lock:
            return tuple(task.job for task in self._all.values())

    def are_idle(self) -> bool:
        """Whether nothing is running or waiting."""
        return all(job.is_over for job in self.all())

    def job(self, job_id: str) -> Job | None:
        """One job by its id."""
        with self._lock:
            task = self._all.get(job_id)
            return None if task is None else task.job

    def stop(self, job_id: str) -> bool:
        """Stop a job and discard it. False if it is finished or unknown."""
        with self._lock:
            task = self._all.get(job_id)
            if task is None or task.job.is_over:
                return False
            was_waiting = task in self._waiting
            if was_waiting:
                self._waiting.remove(task)
            task.job = replace(task.job, state=JobState.STOPPED)
            if task.process is not None:
                task.process.terminate()
        if was_waiting:
            task.finally_()
        self._tell()
        return True

    def close(self) -> None:
        """Stop everything; for the end of the server."""
        with self._lock:
            self._is_closed = True
            self._lock.notify_all()
        for job in self.all():
            self.stop(job.id)
        if self._thread is not None:
            self._thread.join(timeout=5.0)

    def _add(self, task: _Task) -> Job:
        with self._lock:
            self._all[task.job.id] = task
            self._waiting.append(task)
            self._drop_old()
            if self._thread is None:
                self._thread = threading.Thread(target=self._run_all, daemon=True, name="jobs")
                self._thread.start()
            self._lock.notify_all()
        self._tell()
        return task.job

    def _giving_way(self) -> list[Job]:
        with self._lock:
            return [t.job for t in self._all.values() if t.gives_way and not t.job.is_over]

    def _run_all(self) -> None:
        while True:
            with self._lock:
                while not self._waiting and not self._is_closed:
                    self._lock.wait()
                if self._is_closed:
                    return
                task = self._waiting.popleft()
                task.job = replace(task.job, state=JobState.RUNNING)
            self._tell()
            try:
                self._run(task)
            finally:
                task.finally_()
                self._tell()

    def _run(self, task: _Task) -> None:
        # spawn: a fork of a process with threads and an open database may hang.
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe(duplex=False)
        process = context.Process(
            target=_work,
            args=(theirs, task.function, task.arguments, _PATIENT if task.gives_way else 0),
            daemon=True,
        )
        with self._lock:
            if task.job.is_over:
                return
            process.start()
            task.process = process
        theirs.close()
        try:
            self._follow(task, ours)
        finally:
            ours.close()
            process.join()

    def _follow(self, task: _Task, ours: Connection) -> None:
        while True:
            try:
                kind, value = ours.recv()
            except (EOFError, OSError, pickle.UnpicklingError):
                self._end(task, JobState.FAILED, "The work broke off; nothing of it was kept.")
                return
            if kind == "share":
                with self._lock:
                    task.job = replace(task.job, share=value)
                self._tell()
            elif kind == "trouble":
                self._end(task, JobState.FAILED, value)
                return
            else:
                self._keep(task, value)
                return

    def _keep(self, task: _Task, value: Any) -> None:
        with self._lock:
            if task.job.is_over:  # stopped as it finished: discard it
                return
        try:
            task.then(value)
        except WalkboardError as error:
            self._end(task, JobState.FAILED, str(error))
        else:
            self._end(task, JobState.DONE, "")

    def _end(self, task: _Task, state: JobState, trouble: str) -> None:
        with self._lock:
            if not task.job.is_over:
                share = 1.0 if state is JobState.DONE else task.job.share
                task.job = replace(task.job, state=state, trouble=trouble, share=share)

    def _drop_old(self) -> None:
        over = [id_ for id_, task in self._all.items() if task.job.is_over]
        for id_ in over[: max(0, len(over) - _KEPT_ENDED)]:
            del self._all[id_]

    def _tell(self) -> None:
        self._changed(self.all())


def _work(
    theirs: Connection, function: Callable[..., Any], arguments: tuple[Any, ...], niceness: int
) -> None:
    """What the other process runs."""
    if niceness and hasattr(os, "nice"):
        os.nice(niceness)
    published = -1.0

    def progress(done: float, total: float) -> None:
        nonlocal published
        share = min(1.0, done / total) if total > 0.0 else 0.0
        if share - published >= 0.005 or share >= 1.0 > published:
            published = share
            theirs.send(("share", share))

    try:
        result = function(progress, *arguments)
    except WalkboardError as error:
        theirs.send(("trouble", str(error)))
    else:
        theirs.send(("done", result))
    finally:
        theirs.close()
