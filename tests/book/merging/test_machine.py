"""Three copies of one book, each worked on by someone else, merged in any order.

What each copy noted is read from its database by code of the tests, before any merge. In the end
everything noted anywhere is in every copy, word for word, and all three are alike.
"""

from __future__ import annotations

import atexit
import shutil
import tempfile
from datetime import timedelta
from functools import cache
from itertools import permutations
from pathlib import Path
from typing import Any

import pytest
from hypothesis import Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from tests.book.making import (
    DESCRIPTION,
    MORNING,
    PRINCIPAL,
    Clock,
    a_hold,
    a_plan,
    a_reading,
    a_sound,
    a_walk,
)
from tests.book.merging.copies import contents, noted
from walkboard.book import create_book, open_book
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, HearingChange, Tick, TickState
from walkboard.book.venue.records import Contact, FaultCare, NextVisit, Role
from walkboard.organ.model import PipeRef

pytestmark = pytest.mark.sqlite  # copies are files

COPIES = st.integers(0, 2)
FEW = st.integers(1, 3)


class CopiesMachine(RuleBasedStateMachine):
    """Lets three people work on three copies, whose clocks disagree, and merges them."""

    @initialize(ahead=st.lists(st.integers(-90_000, 90_000), min_size=3, max_size=3))
    def take_along(self, ahead: list[int]) -> None:
        self.place = Path(tempfile.mkdtemp(prefix="copies-"))
        self.count = 0
        self.seen: dict[str, dict[str, dict[str, Any]]] = {}
        folders = [self.place / f"copy-{n}" for n in range(3)]
        self.books: list[Book] = [
            new_book(folder, Clock(MORNING + timedelta(seconds=late)))
            for folder, late in zip(folders, ahead, strict=True)
        ]
        home = self.books[0]
        organ = home.add_organ("Harbour Hall", DESCRIPTION)
        home.open_visit(organ.id, "spring")
        home.report_fault(organ.id, FaultKind.CIPHER, "c3")
        self.record(0, 1)
        for away in self.books[1:]:
            away.merge(home)

    def number(self) -> int:
        self.count += 1
        return self.count

    def organ(self, book: Book) -> int:
        return book.organs()[0].id

    def visit(self, book: Book, data: st.DataObject) -> Any:
        return data.draw(st.sampled_from(book.visits(self.organ(book))))

    @rule(copy=COPIES)
    def open_or_close_a_visit(self, copy: int) -> None:
        book = self.books[copy]
        at_work = book.visit_in_progress(self.organ(book))
        if at_work is None:
            book.open_visit(self.organ(book), f"visit {self.number()}", minutes=60.0)
        else:
            book.close_visit(at_work.id, f"done {self.number()}")

    @rule(copy=COPIES, number=FEW, state=st.sampled_from(list(TickState)))
    def tick(self, copy: int, number: int, state: TickState) -> None:
        book = self.books[copy]
        at_work = book.visit_in_progress(self.organ(book))
        if at_work is not None:
            # Only a few uids: a phone may send the same tick to two copies.
            uid = f"tick-{self.number()}"
            book.set_tick(
                Tick(uid, at_work.id, PipeRef(PRINCIPAL, number), state, "", MORNING, "phone")
            )

    @rule(first=COPIES, second=COPIES)
    def send_one_tick_and_one_fault_to_two(self, first: int, second: int) -> None:
        uid = f"sent-{self.number()}"
        for book in (self.books[first], self.books[second]):
            at_work = book.visit_in_progress(self.organ(book))
            if at_work is not None:
                pipe = PipeRef(PRINCIPAL, 1)
                book.set_tick(Tick(uid, at_work.id, pipe, TickState.DONE, "", MORNING, "phone"))
            book.report_fault(self.organ(book), FaultKind.OTHER, "sent twice", uid=uid)

    @rule(copy=COPIES, content=FEW)
    def record(self, copy: int, content: int) -> None:
        """The same content may be imported in several copies, at the same visit or another."""
        book = self.books[copy]
        at_work = book.visit_in_progress(self.organ(book))
        if at_work is not None:
            source = a_sound(self.place, content=f"fLaC {content}".encode())
            walk = a_walk(a_hold(1, a_reading(1, cents=float(self.number()))), a_hold(2))
            book.keep_recording(at_work.id, source, walk, program_version="1")
            source.unlink()

    @rule(copy=COPIES, data=st.data(), change=st.sampled_from(list(HearingChange)))
    def hear_again(self, copy: int, data: st.DataObject, change: HearingChange) -> None:
        book = self.books[copy]
        visit = self.visit(book, data)
        found = (*book.recordings(visit.id), *book.withdrawn_recordings(visit.id))
        if found:
            one = data.draw(st.sampled_from(found)).id
            walk = a_walk(a_hold(1, a_reading(1, cents=float(self.number()))))
            match change:
                case HearingChange.WITHDRAWN:
                    book.withdraw_recording(one, "the wrong stop")
                case HearingChange.RELABELLED:
                    book.relabel_recording(one, walk, program_version="1", words="by mistake")
                case HearingChange.NONE:
                    book.take_in_again(one, walk, program_version=f"{self.number()}")

    @rule(copy=COPIES, data=st.data())
    def note_and_correct(self, copy: int, data: st.DataObject) -> None:
        book = self.books[copy]
        visit = self.visit(book, data)
        book.add_note(visit.id, f"note {self.number()}")
        book.correct_visit(visit.id, purpose=f"purpose {self.number()}")
        conditions = Conditions(air_celsius={"great": 10.0 + self.number() % 20})
        if visit.conditions and visit.conditions[0].id is not None:
            book.correct_conditions(visit.conditions[0].id, conditions)
        elif visit.is_open:
            book.note_conditions(visit.id, conditions)

    @rule(copy=COPIES)
    def plan(self, copy: int) -> None:
        book = self.books[copy]
        at_work = book.visit_in_progress(self.organ(book))
        if at_work is not None:
            version = book.organ(self.organ(book)).version
            book.keep_plan(at_work.id, a_plan(2, 1), organ_version=version)

    @rule(copy=COPIES)
    def describe(self, copy: int) -> None:
        book = self.books[copy]
        text = f"{DESCRIPTION}# {self.number()}\n"
        book.revise_organ(self.organ(book), "Harbour Hall", text)

    @rule(copy=COPIES)
    def add_an_organ(self, copy: int) -> None:
        self.books[copy].add_organ("Mill Chapel", DESCRIPTION)

    @rule(copy=COPIES, data=st.data())
    def report_link_care_and_fix(self, copy: int, data: st.DataObject) -> None:
        book = self.books[copy]
        organ = self.organ(book)
        book.report_fault(organ, FaultKind.RATTLE, f"fault {self.number()}")
        fault = data.draw(st.sampled_from(book.faults(organ)))
        book.link_fault(fault.id, pipe=PipeRef(PRINCIPAL, self.number()))
        book.keep_fault_care(FaultCare(fault.id, f"who {self.number()}", "", ""))
        if fault.stands:
            book.mark_fixed(fault.id, note=f"fixed {self.number()}")

    @rule(copy=COPIES)
    def write_for_the_venue(self, copy: int) -> None:
        book = self.books[copy]
        organ = self.organ(book)
        book.keep_contact(organ, Contact(Role.TUNER, f"name {self.number()}", ""))
        book.keep_next_visit(organ, NextVisit(None, 1.0 + self.number(), "because"))
        book.keep_event(organ, "easter", MORNING, f"event {self.number()}")
        book.keep_weight(organ, PRINCIPAL, 1.0 + self.number())

    @rule(first=COPIES, second=COPIES)
    def merge(self, first: int, second: int) -> None:
        if first != second:
            self.look()
            here, there = self.books[first], self.books[second]
            expected = here.news_of(there)
            merged = here.merge(there)
            assert {o.name: o.facts for o in merged.organs} == {
                o.name: o.facts for o in expected.organs
            }
            before = contents(here.path)
            assert here.merge(there).organs == ()  # again: nothing
            assert contents(here.path) == before

    @rule(copy=COPIES)
    def open_it_again(self, copy: int) -> None:
        old = self.books[copy]
        old.close()
        self.books[copy] = open_book(old.path, clock=old._clock)

    def look(self) -> None:
        """What was noted stays as it was."""
        for book in self.books:
            for table, rows in noted(book.path).items():
                known = self.seen.setdefault(table, {})
                for uid, row in rows.items():
                    assert known.setdefault(uid, row) == row

    def teardown(self) -> None:
        if not hasattr(self, "books"):
            return
        try:
            self.all_orders_agree()
        finally:
            for book in self.books:
                book.close()
            shutil.rmtree(self.place)

    def all_orders_agree(self) -> None:
        """Every order of merging gives the same book, with everything noted anywhere."""
        self.look()
        found = []
        orders = (*permutations(range(3), 3),)
        for order in (orders[self.count % 6], orders[(self.count + 3) % 6]):
            folder = self.place / f"all-{'-'.join(map(str, order))}"
            with new_book(folder, Clock()) as whole:
                for n in order:
                    whole.merge(self.books[n])
            found.append(without_names(contents(folder)))
        assert {t: {*rows} for t, rows in found[0].items()} == {
            t: {*rows} for t, rows in without_names(self.seen).items()
        }
        assert all(one == found[0] for one in found)
        names = {*self.seen["device_name"]}
        for one, other in ((0, 1), (0, 2), (1, 0), (2, 0)):
            self.books[one].merge(self.books[other])
        for book in self.books:
            in_it = contents(book.path)
            assert names <= {*in_it["device_name"]}
            assert without_names(in_it) == found[0]
        assert self.books[self.count % 3].check() == ()


@cache
def empty_book() -> Path:
    folder = Path(tempfile.mkdtemp(prefix="empty-")) / "book"
    atexit.register(shutil.rmtree, folder.parent)
    create_book(folder, clock=Clock()).close()
    return folder


def new_book(folder: Path, clock: Clock) -> Book:
    shutil.copytree(empty_book(), folder)
    return open_book(folder, clock=clock)


def without_names(found: dict[str, Any]) -> dict[str, Any]:
    """Without the names of devices: every new copy has one of its own."""
    return {table: rows for table, rows in found.items() if table != "device_name"}


TestCopies = CopiesMachine.TestCase
# Making a failure smaller takes minutes, for each history makes nine books.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)
TestCopies.settings = settings(max_examples=4, stateful_step_count=12, deadline=None, phases=PHASES)


@pytest.mark.long
class TestCopiesForLong(CopiesMachine.TestCase):  # type: ignore[misc, valid-type]
    settings = settings(max_examples=10_000, stateful_step_count=25, deadline=None, phases=PHASES)
