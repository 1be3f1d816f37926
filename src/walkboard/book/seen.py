"""A book that remembers what it was asked, for pages that ask the same again and again.

Everything is right at every moment, also when another program writes: an answer is kept under what
it depends on, and that is looked up anew each time the book has changed.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar, cast

from walkboard.book.changes import Changes, VisitMarks
from walkboard.book.folder import WAIT_S, Clock
from walkboard.book.keeping import Book
from walkboard.book.opening import open_book
from walkboard.book.readings import best_of
from walkboard.book.records import (
    KeptEvent,
    KeptFault,
    KeptOrgan,
    KeptPlan,
    KeptReading,
    KeptRecording,
    KeptVisit,
    Tick,
    TickState,
)
from walkboard.book.summaries import VisitSummary
from walkboard.organ.model import PipeRef

T = TypeVar("T")
_MOST = 1024  # answers kept


class Memory:
    """Answers under keys, the longest unused dropped first; each is worked out once.

    Parameters
    ----------
    most : int
        Kept at a time.
    """

    def __init__(self, most: int = _MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()
        self._working: dict[Hashable, threading.Lock] = {}

    def get(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """The answer of a key, worked out if it is not known; others wait for the one that does."""
        with self._lock:
            if key in self._answers:
                self._answers.move_to_end(key)
                return cast(T, self._answers[key])
            working = self._working.setdefault(key, threading.Lock())
        with working:
            with self._lock:
                if key in self._answers:
                    return cast(T, self._answers[key])
            answer = work_out()
            with self._lock:
                self._answers[key] = answer
                self._working.pop(key, None)
                while len(self._answers) > self._most:
                    self._answers.popitem(last=False)
            return answer


class SeenBook(Changes, Book):
    """A book with a memory. `open_seen` gives one.

    Its answers are the same as a `Book`'s; treat them as fixed. `memory` is open to whoever works
    out more from a book: put into the key what the answer depends on (`marks`, `change`).
    """

    def __init__(self, path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        self.memory = Memory()

    def close(self) -> None:
        """Let go of the database; a book may be closed twice."""
        Changes.close(self)
        Book.close(self)

    def marks(self, visit_id: int) -> VisitMarks:
        """How far a visit's records have come, looked up once for each change of the book."""
        return self._once("marks", visit_id, lambda: super(SeenBook, self).visit_marks(visit_id))

    def organs(self) -> tuple[KeptOrgan, ...]:
        """As `Book.organs`."""
        return self._once("organs", None, super().organs)

    def organ(self, organ_id: int) -> KeptOrgan:
        """As `Book.organ`."""
        return self._once("organ", organ_id, lambda: super(SeenBook, self).organ(organ_id))

    def organ_versions(self, organ_id: int) -> tuple[KeptOrgan, ...]:
        """As `Book.organ_versions`."""
        return self._once(
            "versions", organ_id, lambda: super(SeenBook, self).organ_versions(organ_id)
        )

    def visits(self, organ_id: int) -> tuple[KeptVisit, ...]:
        """As `Book.visits`."""
        return self._once("visits", organ_id, lambda: super(SeenBook, self).visits(organ_id))

    def visit(self, visit_id: int) -> KeptVisit:
        """As `Book.visit`."""
        return self._once("visit", visit_id, lambda: super(SeenBook, self).visit(visit_id))

    def recordings(self, visit_id: int) -> tuple[KeptRecording, ...]:
        """As `Book.recordings`."""
        key = ("recordings", visit_id, self.marks(visit_id).hearings)
        return self.memory.get(key, lambda: super(SeenBook, self).recordings(visit_id))

    def told_airs(self, visit_id: int) -> dict[int, float | None]:
        """As `Book.told_airs`."""
        key = ("airs", visit_id, self.marks(visit_id).hearings)
        return self.memory.get(key, lambda: super(SeenBook, self).told_airs(visit_id))

    def readings(self, visit_id: int, *, as_of: datetime | None = None) -> tuple[KeptReading, ...]:
        """As `Book.readings`."""
        key = ("readings", visit_id, as_of, self.marks(visit_id).hearings)
        return self.memory.get(key, lambda: super(SeenBook, self).readings(visit_id, as_of=as_of))

    def best_readings(
        self, visit_id: int, *, as_of: datetime | None = None
    ) -> dict[PipeRef, KeptReading]:
        """As `Book.best_readings`; a tick costs no new reading of the database."""
        marks = self.marks(visit_id)
        key = ("best", visit_id, as_of, marks.hearings, marks.ticks)

        def work_out() -> dict[PipeRef, KeptReading]:
            tuned_at = {
                pipe: min(tick.at, tick.received_at or tick.at)
                for pipe, tick in self.pipe_states(visit_id).items()
                if tick.state == TickState.DONE
            }
            return best_of(self.readings(visit_id, as_of=as_of), tuned_at)

        return self.memory.get(key, work_out)

    def pipe_states(self, visit_id: int) -> dict[PipeRef, Tick]:
        """As `Book.pipe_states`."""
        key = ("states", visit_id, self.marks(visit_id).ticks)
        return self.memory.get(key, lambda: super(SeenBook, self).pipe_states(visit_id))

    def current_plan(self, visit_id: int) -> KeptPlan | None:
        """As `Book.current_plan`."""
        marks = self.marks(visit_id)
        # A recording that is labelled anew or withdrawn outdates a plan.
        key = ("plan", visit_id, marks.plans, marks.hearings, self.visit(visit_id).is_open)
        return self.memory.get(key, lambda: super(SeenBook, self).current_plan(visit_id))

    def visit_summaries(self, organ_id: int) -> dict[int, VisitSummary]:
        """As `Book.visit_summaries`."""
        return self._once("sums", organ_id, lambda: super(SeenBook, self).visit_summaries(organ_id))

    def faults(self, organ_id: int) -> tuple[KeptFault, ...]:
        """As `Book.faults`."""
        return self._once("faults", organ_id, lambda: super(SeenBook, self).faults(organ_id))

    def events(self, organ_id: int) -> tuple[KeptEvent, ...]:
        """As `Book.events`."""
        return self._once("events", organ_id, lambda: super(SeenBook, self).events(organ_id))

    def _once(self, what: str, of: Hashable, work_out: Callable[[], T]) -> T:
        return self.memory.get((what, of, self.change()), work_out)


def open_seen(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> SeenBook:
    """Open a book that remembers; as `open_book` otherwise.

    Raises
    ------
    BookError
        When there is no book, or it cannot be used.
    """
    with open_book(path, clock=clock, wait_s=wait_s) as checked:
        place = checked.path
    return SeenBook(place, clock=clock, wait_s=wait_s)
