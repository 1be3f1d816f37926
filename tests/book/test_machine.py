"""A book compared with a model, under any order of what a tuner, a phone and a second program do.

The model is a few dictionaries that share nothing with the book. Rules refuse what the book must
refuse: two visits open at once, a tick made after its visit was closed, a fault fixed twice. Copies
and imports go on in the original's place, so whatever they lost would show at the next look.
"""

from __future__ import annotations

import shutil
import tempfile
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.book.making import DESCRIPTION, PRINCIPAL, Clock, a_plan, a_sound, a_walk
from walkboard.book import create_book, open_book
from walkboard.book.importing import import_book
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind, Tick, TickState
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

pytestmark = pytest.mark.sqlite  # copies are files

NUMBERS = st.integers(1, 3)
STATES = st.sampled_from(list(TickState))
WORDS = st.text(min_size=1, max_size=12).filter(lambda text: text.strip() == text and text)


@dataclass
class Visit:
    """What the model knows of one visit."""

    closed_at: datetime | None = None
    states: dict[int, TickState] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    recordings: list[str] = field(default_factory=list)
    withdrawn: set[int] = field(default_factory=set)
    has_plan: bool = False


class BookMachine(RuleBasedStateMachine):
    """Does to a book and to the model what may happen, in any order."""

    @initialize()
    def make(self) -> None:
        self.place = Path(tempfile.mkdtemp(prefix="machine-"))
        self.clock = Clock()
        self.path = self.place / "book-0"
        self.count = 0
        self.visits: dict[int, Visit] = {}
        self.faults: dict[int, bool] = {}  # whether it stands
        self.book: Book = create_book(self.path, clock=self.clock)
        self.organ_id = self.book.add_organ("Harbour Hall", DESCRIPTION).id

    def number(self) -> int:
        self.count += 1
        return self.count

    @property
    def open_id(self) -> int | None:
        return next((id_ for id_, one in self.visits.items() if one.closed_at is None), None)

    @rule(minutes=st.one_of(st.none(), st.floats(1.0, 600.0)))
    def open_a_visit(self, minutes: float | None) -> None:
        if self.open_id is not None:
            with pytest.raises(BookError):
                self.book.open_visit(self.organ_id, "", minutes=minutes)
            return
        visit = self.book.open_visit(self.organ_id, "before the services", minutes=minutes)
        self.visits[visit.id] = Visit()

    @precondition(lambda self: self.open_id is not None)
    @rule(note=st.text(max_size=8))
    def close_the_visit(self, note: str) -> None:
        assert self.open_id is not None
        id_ = self.open_id
        self.visits[id_].closed_at = self.book.close_visit(id_, note).closed_at

    @precondition(lambda self: bool(self.visits))
    @rule(data=st.data(), number=NUMBERS, state=STATES, again=st.booleans())
    def tick(self, data: st.DataObject, number: int, state: TickState, again: bool) -> None:
        id_ = data.draw(st.sampled_from(sorted(self.visits)))
        at = self.clock()
        one = Tick(f"tick-{self.number()}", id_, PipeRef(PRINCIPAL, number), state, "", at)
        if self.visits[id_].closed_at is not None:
            with pytest.raises(BookError):
                self.book.set_tick(one)
            return
        for _ in range(1 + again):  # a phone that had no answer sends it again
            self.book.set_tick(one)
        self.visits[id_].states[number] = state

    @precondition(lambda self: bool(self.visits))
    @rule(data=st.data(), words=WORDS)
    def note(self, data: st.DataObject, words: str) -> None:
        id_ = data.draw(st.sampled_from(sorted(self.visits)))
        self.book.add_note(id_, words)  # also after it was closed
        self.visits[id_].notes.append(words)

    @precondition(lambda self: self.open_id is not None)
    @rule()
    def plan(self) -> None:
        assert self.open_id is not None
        self.book.keep_plan(self.open_id, a_plan(2, 1), event_air_celsius=19.0)
        self.visits[self.open_id].has_plan = True

    @precondition(lambda self: self.open_id is not None)
    @rule()
    def record(self) -> None:
        assert self.open_id is not None
        content = f"fLaC {self.number()}"
        source = a_sound(self.place, content=content.encode())
        kept = self.book.keep_recording(self.open_id, source, a_walk(), program_version="1")
        source.unlink()
        self.visits[self.open_id].recordings.append(content)
        assert kept.visit_id == self.open_id

    @precondition(lambda self: any(one.recordings for one in self.visits.values()))
    @rule(data=st.data())
    def withdraw(self, data: st.DataObject) -> None:
        recorded = [id_ for id_, one in self.visits.items() if one.recordings]
        id_ = data.draw(st.sampled_from(recorded))
        standing = self.book.recordings(id_)
        if standing:
            gone = data.draw(st.sampled_from(standing))
            self.book.withdraw_recording(gone.id, "the wrong stop")
            self.visits[id_].withdrawn.add(gone.id)

    @rule(kind=st.sampled_from(list(FaultKind)))
    def report_a_fault(self, kind: FaultKind) -> None:
        uid = f"fault-{self.number()}"
        fault = self.book.report_fault(self.organ_id, kind, "it sounds", uid=uid)
        assert self.book.report_fault(self.organ_id, kind, "it sounds", uid=uid).id == fault.id
        self.faults[fault.id] = True

    @precondition(lambda self: bool(self.faults))
    @rule(data=st.data())
    def fix_a_fault(self, data: st.DataObject) -> None:
        id_ = data.draw(st.sampled_from(sorted(self.faults)))
        if self.faults[id_]:
            self.book.mark_fixed(id_, visit_id=self.open_id)
            self.faults[id_] = False
        else:
            with pytest.raises(BookError):
                self.book.mark_fixed(id_, visit_id=self.open_id)

    @rule()
    def open_it_again(self) -> None:
        self.book.close()
        self.book = open_book(self.path, clock=self.clock)

    @rule()
    def go_on_in_a_copy(self) -> None:
        self.path = self.place / f"book-{self.number()}"
        assert self.book.copy_to(self.path) == ()
        self.open_it_again()

    @rule()
    def go_on_in_an_import(self) -> None:
        export, old = self.place / "book.json", self.path
        self.book.export_json(export)
        self.book.close()
        self.path = self.place / f"book-{self.number()}"
        sounds = old / "recordings"
        self.book = import_book(export, self.path, clock=self.clock, recordings=sounds)

    @invariant()
    def the_book_is_what_was_done(self) -> None:
        visits = {visit.id: visit for visit in self.book.visits(self.organ_id)}
        assert visits.keys() == self.visits.keys()
        for id_, known in self.visits.items():
            visit = visits[id_]
            assert visit.closed_at == known.closed_at
            assert [note.words for note in visit.notes] == known.notes
            found = self.book.pipe_states(id_)
            assert {p.number: t.state for p, t in found.items()} == known.states
            standing = {one.id for one in self.book.recordings(id_)}
            assert len(standing) == len(known.recordings) - len(known.withdrawn)
            assert not standing & known.withdrawn
            every = [*self.book.recordings(id_), *self.book.withdrawn_recordings(id_)]
            kept = sorted(self.book.sound_path(one.id).read_text() for one in every)
            assert kept == sorted(known.recordings)
            assert bool(self.book.plans(id_)) == known.has_plan
        stands = {fault.id: fault.stands for fault in self.book.faults(self.organ_id)}
        assert stands == self.faults

    def teardown(self) -> None:
        if hasattr(self, "book"):
            assert self.book.check() == ()
            self.book.close()
            shutil.rmtree(self.place)


TestBook = BookMachine.TestCase
TestBook.settings = settings(max_examples=5, stateful_step_count=14, deadline=None)


@pytest.mark.long
class TestBookForLong(BookMachine.TestCase):  # type: ignore[misc, valid-type]
    settings = settings(max_examples=150, stateful_step_count=50, deadline=None)
