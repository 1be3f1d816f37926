"""A book that remembers its answers, for pages that ask the same again and again.

Answers are always current, also when another program writes. What an answer depends on is not
listed by hand but recorded while it is calculated: every question to the book is noted. After a
change of the book an answer stays valid only if all questions noted for it still have the same
answer. A question without a finer mark depends on the whole book, so something forgotten here can
make a page slow, but never stale.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any, TypeAlias, TypeVar, cast

from sqlalchemy.orm import Session

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
Noted: TypeAlias = tuple[Callable[[], Any], Any]
"""A question asked, and its answer."""

Notes: TypeAlias = dict[Hashable, Noted]
"""Questions by their content, each once."""

# Questions asked while an answer is calculated; None if nobody records them.
_notes: ContextVar[Notes | None] = ContextVar("notes", default=None)
# The state of the book when last checked, reused within one answer: checking costs more than most
# answers.
_moment: ContextVar[int | None] = ContextVar("moment", default=None)


@dataclass(slots=True)
class _Known:
    """An answer with everything it depends on; `change` is the book's when it was last valid."""

    answer: Any
    rests_on: Notes
    change: int


@contextmanager
def _noting(notes: Notes | None) -> Iterator[None]:
    before = _notes.set(notes)
    try:
        yield
    finally:
        _notes.reset(before)


def _note(question: Hashable, ask: Callable[[], Any], answer: Any) -> None:
    notes = _notes.get()
    if notes is not None and question not in notes:
        notes[question] = (ask, answer)


def _is_same(one: Any, other: Any) -> bool:
    try:
        return one is other or bool(one == other)
    except ValueError:  # arrays have no single answer
        return False


_MOST = 1024  # answers kept


class Memory:
    """Answers by key, the least recently used dropped first; each is calculated once.

    Parameters
    ----------
    most : int
        Number kept at a time.
    """

    def __init__(self, most: int = _MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._answers: OrderedDict[Hashable, Any] = OrderedDict()
        self._working: dict[Hashable, threading.Lock] = {}

    def get(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """The answer of a key, calculated if unknown; other threads wait for it."""
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

    Its answers are the same as a `Book`'s; do not modify them. To cache more that is calculated
    from a book, use `seen`. `memory` is for what depends on its key alone.
    """

    def __init__(self, path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        self.memory = Memory()
        self._seen: OrderedDict[Hashable, _Known] = OrderedDict()
        self._seen_lock = threading.Lock()
        self._seen_working: dict[Hashable, threading.RLock] = {}

    def seen(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """A value calculated from the book; again only if something it depends on has changed.

        Parameters
        ----------
        key : hashable
            Names the answer: the ids asked about, not what the answer depends on.
        work_out : callable
            May use only the book and the key.
        """
        moment = _moment.get()
        change = Changes.change(self) if moment is None else moment
        token = _moment.set(change)
        try:
            known = self._entry(key, work_out, change)
        finally:
            _moment.reset(token)
        _note(("seen", key), lambda: self.seen(key, work_out), known.answer)
        return cast(T, known.answer)

    def _entry(self, key: Hashable, work_out: Callable[[], Any], change: int) -> _Known:
        with self._seen_lock:
            known = self._seen.get(key)
            working = self._seen_working.setdefault(key, threading.RLock())
        if known is None or known.change != change:
            with working:
                with self._seen_lock:
                    known = self._seen.get(key)
                if known is None or not self._is_true(known, change):
                    known = self._work_out(key, work_out, change)
        return known

    def _is_true(self, known: _Known, change: int) -> bool:
        if known.change == change:
            return True
        with _noting(None):
            if not all(_is_same(ask(), answer) for ask, answer in known.rests_on.values()):
                return False
        known.change = change
        return True

    def _work_out(self, key: Hashable, work_out: Callable[[], Any], change: int) -> _Known:
        notes: Notes = {}
        with _noting(notes):
            answer = work_out()
        known = _Known(answer, notes, change)
        with self._seen_lock:
            self._seen[key] = known
            self._seen.move_to_end(key)
            while len(self._seen) > _MOST:
                self._seen_working.pop(self._seen.popitem(last=False)[0], None)
        return known

    def change(self) -> int:
        """As `Changes.change`; whatever asks for it depends on the whole book."""
        number = super().change()
        _note("change", lambda: Changes.change(self), number)
        return number

    @contextmanager
    def _reading(self) -> Iterator[Session]:
        # A question without a finer mark in a method below.
        self.change()
        with super()._reading() as session:
            yield session

    def close(self) -> None:
        """Close the database; a book may be closed twice."""
        Changes.close(self)
        Book.close(self)

    def marks(self, visit_id: int) -> VisitMarks:
        """The state of a visit's records, looked up once for each change of the book."""
        return self._once("marks", visit_id, lambda: super(SeenBook, self).visit_marks(visit_id))

    def _by_mark(
        self, mark: Callable[[VisitMarks], Hashable], visit_id: int, key: Hashable,
        work_out: Callable[[], T],
    ) -> T:  # fmt: skip
        """An answer that depends on one mark of a visit."""

        def stamp() -> Hashable:
            with _noting(None):
                return mark(self.marks(visit_id))

        now = stamp()
        _note((key, visit_id), stamp, now)
        with _noting(None):
            return self.memory.get((key, visit_id, now), work_out)

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

        def find() -> KeptVisit:
            # One query for all visits to an organ, instead of one per visit.
            for kept in self.organs():
                for visit in self.visits(kept.id):
                    if visit.id == visit_id:
                        return visit
            return super(SeenBook, self).visit(visit_id)

        return self._once("visit", visit_id, find)

    def recordings(self, visit_id: int) -> tuple[KeptRecording, ...]:
        """As `Book.recordings`."""
        return self._by_mark(
            lambda m: m.hearings,
            visit_id,
            "recordings",
            lambda: super(SeenBook, self).recordings(visit_id),
        )

    def recording_airs(self, visit_id: int) -> dict[int, float | None]:
        """As `Book.recording_airs`."""
        return self._by_mark(
            lambda m: m.hearings,
            visit_id,
            "airs",
            lambda: super(SeenBook, self).recording_airs(visit_id),
        )

    def readings(self, visit_id: int, *, as_of: datetime | None = None) -> tuple[KeptReading, ...]:
        """As `Book.readings`."""
        return self._by_mark(
            lambda m: m.hearings,
            visit_id,
            ("readings", as_of),
            lambda: super(SeenBook, self).readings(visit_id, as_of=as_of),
        )

    def best_readings(
        self, visit_id: int, *, as_of: datetime | None = None
    ) -> dict[PipeRef, KeptReading]:
        """As `Book.best_readings`; a tick costs no new reading of the database."""

        def work_out() -> dict[PipeRef, KeptReading]:
            tuned_at = {
                pipe: min(tick.at, tick.received_at or tick.at)
                for pipe, tick in self.pipe_states(visit_id).items()
                if tick.state == TickState.DONE
            }
            return best_of(self.readings(visit_id, as_of=as_of), tuned_at)

        return self.seen(("best", visit_id, as_of), work_out)

    def pipe_states(self, visit_id: int) -> dict[PipeRef, Tick]:
        """As `Book.pipe_states`."""
        return self._by_mark(
            lambda m: m.ticks,
            visit_id,
            "states",
            lambda: super(SeenBook, self).pipe_states(visit_id),
        )

    def current_plan(self, visit_id: int) -> KeptPlan | None:
        """As `Book.current_plan`."""
        # Relabelling or withdrawing a recording outdates a plan.
        is_open = self.visit(visit_id).is_open
        return self._by_mark(
            lambda m: (m.plans, m.hearings),
            visit_id,
            ("plan", is_open),
            lambda: super(SeenBook, self).current_plan(visit_id),
        )

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
        def ask() -> T:
            moment = _moment.get()
            change = Changes.change(self) if moment is None else moment
            with _noting(None):
                return self.memory.get((what, of, change), work_out)

        answer = ask()
        _note((what, of), ask, answer)
        return answer


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
