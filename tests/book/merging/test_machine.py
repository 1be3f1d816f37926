"""Three copies of one book, each worked on by someone else, merged in any order.

What each copy noted is read from its database by code of the tests, before any merge. In the end
everything noted anywhere is in every copy, word for word, and all three are alike.
"""

from __future__ import annotations

import atexit
import json
import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
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
from walkboard.book.files.folder import DATABASE, RECORDINGS
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, HearingChange, Tick, TickState
from walkboard.book.venue.records import Contact, FaultCare, NextVisit, Role
from walkboard.organ.model import PipeRef

pytestmark = pytest.mark.sqlite  # copies are files

IN_MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None
COPIES = st.integers(0, 2)
FEW = st.integers(1, 3)


class CopiesMachine(RuleBasedStateMachine):
    """Lets three people work on three copies, whose clocks disagree, and merges them."""

    @initialize(ahead=st.lists(st.integers(-90_000, 90_000), min_size=3, max_size=3))
    def take_along(self, ahead: list[int]) -> None:
        self.begin(ahead)

    def begin(self, ahead: list[int]) -> None:
        self.place = Path(tempfile.mkdtemp(prefix="copies-", dir=IN_MEMORY))
        self.count = 0
        self.seen: dict[str, dict[str, dict[str, Any]]] = {}
        self.books: list[Book] = [
            new_book(Clock(MORNING + timedelta(seconds=late))) for late in ahead
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
            put_away(*self.books)
            shutil.rmtree(self.place)

    def all_orders_agree(self) -> None:
        """Every order of merging gives the same book, with everything noted anywhere."""
        self.look()
        found = []
        orders = (*permutations(range(3), 3),)
        for order in (orders[self.count % 6], orders[(self.count + 3) % 6]):
            whole = new_book(Clock())
            for n in order:
                whole.merge(self.books[n])
            found.append(without_names(contents(whole.path)))
            put_away(whole)
        assert {t: {*rows} for t, rows in found[0].items()} == {
            t: {*rows} for t, rows in without_names(self.seen).items()
        }
        assert all(one == found[0] for one in found)
        for rows in found[0].values():
            for uid, row in rows.items():  # a version comes after those that its author had
                assert all(seen < uid for seen in json.loads(row.get("follows") or "[]"))
        names = {*self.seen["device_name"]}
        for one, other in ((0, 1), (0, 2), (1, 0), (2, 0)):
            self.books[one].merge(self.books[other])
        for book in self.books:
            in_it = contents(book.path)
            assert names <= {*in_it["device_name"]}
            assert without_names(in_it) == found[0]
        assert self.books[self.count % 3].check() == ()


class Shelf:
    """Books that are open and not in use. To open one takes longer than all that is done in it.

    Each is emptied by copying an empty database into its own.
    """

    def __init__(self) -> None:
        self.place = Path(tempfile.mkdtemp(prefix="shelf-", dir=IN_MEMORY))
        create_book(self.place / "empty", clock=Clock()).close()
        self.empty = sqlite3.connect(self.place / "empty" / DATABASE)
        self.books: list[Book] = []
        self.count = 0

    def new(self) -> Book:
        self.count += 1
        folder = self.place / f"book-{self.count}"
        shutil.copytree(self.place / "empty", folder)
        return open_book(folder, clock=Clock())

    def clear(self, book: Book) -> None:
        with closing(sqlite3.connect(book.path / DATABASE)) as full:
            self.empty.backup(full)
        shutil.rmtree(book.path / RECORDINGS)
        (book.path / RECORDINGS).mkdir()

    def close(self) -> None:
        for book in self.books:
            book.close()
        self.empty.close()
        shutil.rmtree(self.place)


@cache
def shelf() -> Shelf:
    made = Shelf()
    atexit.register(made.close)
    return made


def new_book(clock: Clock) -> Book:
    book = shelf().books.pop() if shelf().books else shelf().new()
    book._clock, book._latest = clock, None
    return book


def put_away(*books: Book) -> None:
    for book in books:
        shelf().clear(book)
        shelf().books.append(book)


def without_names(found: dict[str, Any]) -> dict[str, Any]:
    """Without the names of devices: every new copy has one of its own."""
    return {table: rows for table, rows in found.items() if table != "device_name"}


# Making a failure smaller takes minutes.
PHASES = (Phase.explicit, Phase.reuse, Phase.generate)


ALL: tuple[Callable[[Any, int, Any], None], ...] = (
    lambda m, copy, _: m.open_or_close_a_visit(copy),
    lambda m, copy, _: m.tick(copy, 1 + copy, TickState.DONE),
    lambda m, copy, _: m.send_one_tick_and_one_fault_to_two(copy, (copy + 1) % 3),
    lambda m, copy, _: m.record(copy, 1),
    lambda m, copy, data: m.hear_again(copy, data, HearingChange.NONE),
    lambda m, copy, data: m.hear_again(copy, data, HearingChange.RELABELLED),
    lambda m, copy, data: m.note_and_correct(copy, data),
    lambda m, copy, _: m.plan(copy),
    lambda m, copy, _: m.describe(copy),
    lambda m, copy, data: m.report_link_care_and_fix(copy, data),
    lambda m, copy, _: m.write_for_the_venue(copy),
)


class FullMachine(CopiesMachine):
    """Begins with everything done once on every copy, so that a few histories reach every table."""

    @initialize(
        ahead=st.lists(st.integers(-90_000, 90_000), min_size=3, max_size=3),
        data=st.data(),
        order=st.permutations(range(3 * len(ALL))),
    )
    def take_along(self, ahead: list[int], data: st.DataObject, order: list[int]) -> None:
        self.begin(ahead)
        for at in order:
            ALL[at // 3](self, at % 3, data)


TestCopies = FullMachine.TestCase
TestCopies.settings = settings(max_examples=2, stateful_step_count=5, deadline=None, phases=PHASES)


@pytest.mark.long
class TestCopiesForLong(CopiesMachine.TestCase):  # type: ignore[misc, valid-type]
    settings = settings(max_examples=10_000, stateful_step_count=25, deadline=None, phases=PHASES)
