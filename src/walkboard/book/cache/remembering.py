"""Answers kept until something they depend on changes, whichever program writes.

Answers are always current, also when another program writes. What an answer depends on is not
listed by hand but recorded while it is calculated: every question to the book is noted. After a
change of the book an answer stays valid if no organ that it asked about has changed, or else if
all questions noted for it still have the same answer; the counters of `book.rows.counting`
say which organ, visit and part have changed. A question that is not listed here depends on the
whole book, so something forgotten here can make a page slow, but never stale.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar, cast

from sqlalchemy.orm import Session

from walkboard.book.cache.memory import Memory
from walkboard.book.cache.noting import Notes, Scope, Whole, note, noting
from walkboard.book.files.folder import WAIT_S, Clock
from walkboard.book.rows.changes import NO_MARKS, Changes, Counters, VisitMarks
from walkboard.book.rows.counting import Part

T = TypeVar("T")

_LONGEST_S = 1.0  # that a moment lasts. Chosen.
_MOST = 1 << 14  # answers kept. Chosen: the pages of one organ ask for some 200.


@dataclass(frozen=True, slots=True)
class State:
    """How far the book's changes were counted at some moment."""

    change: int
    counters: Counters

    def number(self, scope: Scope) -> int:
        """Another number after every change in a scope."""
        match scope:
            case Whole():
                return self.change
            case Part():
                return self.counters.of_all(scope)
            case organ_id:
                return self.counters.total(organ_id)


class Moment:
    """The state of the book that one answer, or all answers of one request, are checked against.

    The book is asked once, at the first question; again only after this program has written, or
    when the answer takes long.
    """

    def __init__(self, book: Remembering) -> None:
        self.book = book
        self.is_over = False  # tasks that a request started may outlive it, and still have this
        self._change: int | None = None
        self._state: State | None = None
        self._asked_s = 0.0

    @property
    def change(self) -> int:
        """As `Changes.change`."""
        change = self._change
        if change is None or monotonic() - self._asked_s > _LONGEST_S:
            self._asked_s = monotonic()
            self._state = None
            change = self._change = Changes.change(self.book)
        return change

    @property
    def state(self) -> State:
        """The counters at that time or later, but before anything else was read."""
        change, state = self.change, self._state
        if state is None or state.change != change:
            state = self._state = State(change, self.book.counters_at(change))
        return state

    def forget(self) -> None:
        """The book was written to."""
        self._change = self._state = None


_moment: ContextVar[Moment | None] = ContextVar("moment", default=None)


@dataclass(slots=True)
class _Known:
    """An answer with everything it depends on, and the state when it was last valid."""

    answer: Any
    notes: Notes
    change: int
    numbers: Mapping[Scope, int]


class Remembering(Changes):
    """The memory of a `SeenBook`: what an answer depends on, and whether it is still valid."""

    def __init__(self, path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> None:
        super().__init__(path, clock=clock, wait_s=wait_s)
        self.memory = Memory()
        self._seen: OrderedDict[Hashable, _Known] = OrderedDict()
        self._seen_lock = threading.Lock()
        self._seen_working: dict[Hashable, threading.RLock] = {}
        self._organ_of: dict[int, int] = {}  # by visit
        self._last_counters: tuple[int, Counters] | None = None
        self._counters_lock = threading.Lock()

    @contextmanager
    def one_moment(self) -> Iterator[Moment]:
        """Answer everything within from one look at whether the book has changed.

        What this program writes meanwhile is seen; what others write, from the next moment on.
        """
        moment = _moment.get()
        if moment is not None and moment.book is self and not moment.is_over:
            yield moment
            return
        moment = Moment(self)
        token = _moment.set(moment)
        try:
            yield moment
        finally:
            moment.is_over = True
            _moment.reset(token)

    def seen(self, key: Hashable, work_out: Callable[[], T]) -> T:
        """A value calculated from the book; again only if something it depends on has changed.

        Parameters
        ----------
        key : hashable
            Names the answer: the ids asked about, not what the answer depends on.
        work_out : callable
            May use only the book and the key.
        """
        with self.one_moment() as moment:
            known = self._entry(key, work_out, moment)
        note(("seen", key), known.notes.scopes, lambda: self.seen(key, work_out), known.answer)
        return cast(T, known.answer)

    def _entry(self, key: Hashable, work_out: Callable[[], Any], moment: Moment) -> _Known:
        with self._seen_lock:
            known = self._seen.get(key)
            if known is not None:
                self._seen.move_to_end(key)
            working = self._seen_working.setdefault(key, threading.RLock())
        if known is None or known.change != moment.change:
            with working:
                with self._seen_lock:
                    known = self._seen.get(key)
                if known is None or not _is_true(known, moment):
                    known = self._work_out(key, work_out, moment)
        return known

    def _work_out(self, key: Hashable, work_out: Callable[[], Any], moment: Moment) -> _Known:
        # Before anything is read: a change meanwhile then shows at the next look.
        before = moment.state
        notes = Notes()
        with noting(notes):
            answer = work_out()
        numbers = {scope: before.number(scope) for scope in notes.scopes}
        known = _Known(answer, notes, before.change, numbers)
        with self._seen_lock:
            self._seen[key] = known
            self._seen.move_to_end(key)
            while len(self._seen) > _MOST:
                self._seen_working.pop(self._seen.popitem(last=False)[0], None)
        return known

    def change(self) -> int:
        """As `Changes.change`; whatever asks for it depends on the whole book."""
        with self.one_moment() as moment:
            number = moment.change
        note("change", {Whole.BOOK}, self.change, number)
        return number

    def counters_at(self, change: int) -> Counters:
        """The counters of a state of the book, or of a later one; asked once for each state."""
        with self._counters_lock:
            if self._last_counters is None or self._last_counters[0] != change:
                with noting(None):
                    self._last_counters = change, self.counters()
            return self._last_counters[1]

    @contextmanager
    def _reading(self) -> Iterator[Session]:
        # A question that is not listed below.
        self.change()
        with super()._reading() as session:
            yield session

    @contextmanager
    def _writing(self) -> Iterator[Session]:
        try:
            with super()._writing() as session:
                yield session
        finally:
            moment = _moment.get()
            if moment is not None:
                moment.forget()

    def marks(self, visit_id: int) -> VisitMarks:
        """The state of a visit's records."""
        found = self._marks(visit_id)
        scope = _scope_of(self._organ_id_of(visit_id))
        note(("marks", visit_id), {scope}, lambda: self._marks(visit_id), found)
        return found

    def _marks(self, visit_id: int) -> VisitMarks:
        """The same; those of all visits to an organ are looked up at once."""
        organ_id = self._organ_id_of(visit_id)
        if organ_id is None:
            return NO_MARKS
        with self.one_moment() as moment, noting(None):
            marks = self.memory.get(
                ("marks of all", organ_id),
                lambda: self._look_up_marks(organ_id),
                stamp=moment.state.number(organ_id),
            )
        return marks.get(visit_id, NO_MARKS)

    def _look_up_marks(self, organ_id: int) -> dict[int, VisitMarks]:
        marks = self.organ_marks(organ_id)
        self._organ_of.update(dict.fromkeys(marks, organ_id))
        return marks

    def _organ_id_of(self, visit_id: int) -> int | None:
        """The organ of a visit, which never changes."""
        found = self._organ_of.get(visit_id)
        if found is None:
            with noting(None):
                found = self.organ_of_visit(visit_id)
            if found is not None:
                self._organ_of[visit_id] = found
        return found

    def _kept(
        self,
        key: Hashable,
        scopes: set[Scope],
        mark: Callable[[], Hashable],
        work_out: Callable[[], T],
    ) -> T:
        """An answer that depends only on a mark."""
        with self.one_moment():
            stamp = mark()
            note(key, scopes, mark, stamp)
            with noting(None):
                return self.memory.get(key, work_out, stamp=stamp)

    def _of_organ(self, key: Hashable, organ_id: int, parts: tuple[Part, ...],
                  work_out: Callable[[], T]) -> T:  # fmt: skip
        """An answer that depends on parts of an organ."""

        def mark() -> Hashable:
            with self.one_moment() as moment:
                return moment.state.counters.of(organ_id, parts)

        return self._kept(key, {organ_id}, mark, work_out)

    def _of_visit(self, key: Hashable, visit_id: int, parts: tuple[Part, ...],
                  work_out: Callable[[], T]) -> T:  # fmt: skip
        """An answer that depends on parts of a visit."""
        scope = _scope_of(self._organ_id_of(visit_id))
        return self._kept(key, {scope}, lambda: self._marks(visit_id).of(parts), work_out)

    def _of_all(self, key: Hashable, parts: tuple[Part, ...], work_out: Callable[[], T]) -> T:
        """An answer that depends on parts of every organ."""

        def mark() -> Hashable:
            with self.one_moment() as moment:
                return tuple(moment.state.number(part) for part in parts)

        return self._kept(key, set(parts), mark, work_out)


def _scope_of(organ_id: int | None) -> Scope:
    return Whole.BOOK if organ_id is None else organ_id


def _is_true(known: _Known, moment: Moment) -> bool:
    if known.change == moment.change:
        return True
    numbers = {scope: moment.state.number(scope) for scope in known.numbers}
    if numbers != known.numbers and not known.notes.still_true():
        return False
    known.change, known.numbers = moment.change, numbers
    return True
