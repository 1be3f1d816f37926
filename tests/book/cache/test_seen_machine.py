"""A book that remembers gives the answers of one that does not, whoever writes in between."""

# ruff: noqa: ARG005 - all writes are asked alike

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, rule

from tests.book.making import DESCRIPTION, MORNING, PRINCIPAL, Clock, a_plan, a_sound, a_walk
from walkboard.book import create_book
from walkboard.book.cache.seen import (
    QUESTIONS_OF_A_VISIT,
    QUESTIONS_OF_AN_ORGAN,
    SeenBook,
    open_seen,
)
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, KeptSettling, Tick, TickState
from walkboard.book.venue.records import Contact, FaultCare, NextVisit, Role
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

ORGANS = (1, 2)  # each has a visit of its own number
PIPE = PipeRef(PRINCIPAL, 1)
MORE: dict[str, tuple[object, ...]] = {
    "readings_of_pipe": (PIPE,),
    "every_reading_of_pipe": (PIPE,),
    "states_of_pipe": (PIPE,),
    "event_versions": ("recital",),
    "weight_versions": (PRINCIPAL,),
}


def answer(book: Book, name: str, *of: object) -> object:
    try:
        return getattr(book, name)(*of)
    except BookError as error:
        return error.what


def everything(book: Book, organs: tuple[int, ...] = ORGANS) -> dict[object, object]:
    """The answer to every question, of some organs and their visits."""
    found: dict[object, object] = {"organs": book.organs(), "settlings": book.settlings()}
    found["newest visits"] = book.newest_visits()
    for organ in organs:
        for name in QUESTIONS_OF_AN_ORGAN:
            found[name, organ] = answer(book, name, organ, *MORE.get(name, ()))
        found["settlings", organ] = answer(book, "settlings", organ)
    for visit in organs:
        for name in (*QUESTIONS_OF_A_VISIT, "visit", "best_readings"):
            found[name, visit] = answer(book, name, visit)
    return found


def next_settling(visit: int, number: int) -> KeptSettling:
    heard = MORNING + timedelta(minutes=number)
    return KeptSettling(visit, PIPE, "slide", 3.9, 0.2, 6.5, 0.3, heard)


def take_in(book: Book, place: Path, visit: int, number: int) -> None:
    sound = a_sound(place, content=f"fLaC {number}".encode())
    book.keep_recording(visit, sound, a_walk(), program_version="1")


def relabel(book: Book, visit: int, number: int) -> None:
    walk = replace(a_walk(), drawn=(f"stop {number}",))
    book.relabel_recording(book.recordings(visit)[0].id, walk, program_version="1")


def tick(book: Book, visit: int, number: int) -> None:
    book.set_tick(Tick(f"t{number}", visit, PIPE, TickState.DONE, "", MORNING, "phone"))


Write = Callable[[Book, Path, int, int], object]
# Everything that is written, of an organ and its visit of the same number. The closing is last.
WRITES: dict[str, Write] = {
    "description": lambda b, _, of, n: b.revise_organ(of, f"Hall {of}", f"{DESCRIPTION}# {n}\n"),
    "fault": lambda b, _, of, n: b.report_fault(of, FaultKind.CIPHER, f"it sounds, {n}"),
    "fault's link": lambda b, _, of, n: b.link_fault(b.faults(of)[0].id, stop=f"stop {n}"),
    "fault's care": lambda b, _, of, n: b.keep_fault_care(
        FaultCare(b.faults(of)[0].id, f"who {n}", "", "")
    ),
    "fault again": lambda b, _, of, n: b.mark_fixed(
        b.report_fault(of, FaultKind.OTHER, f"once more, {n}").id
    ),
    "event": lambda b, _, of, n: b.keep_event(of, "recital", MORNING, f"Recital {n}"),
    "weight": lambda b, _, of, n: b.keep_weight(of, PRINCIPAL, 1.0 + n),
    "next visit": lambda b, _, of, n: b.keep_next_visit(of, NextVisit(None, 1.0, f"reason {n}")),
    "contact": lambda b, _, of, n: b.keep_contact(of, Contact(Role.OWNER, f"name {n}")),
    "settling": lambda b, _, of, n: b.keep_settlings([next_settling(of, n)]),
    "conditions": lambda b, _, of, n: b.note_conditions(of, Conditions({"great": 9.0 + n % 20})),
    "note": lambda b, _, of, n: b.add_note(of, f"note {n}"),
    "correction": lambda b, _, of, n: b.correct_visit(of, minutes=10.0 + n % 100),
    "recording": take_in,
    "plan": lambda b, _, of, n: b.keep_plan(of, a_plan(1)),
    "tick": lambda b, _, of, n: tick(b, of, n),
    "relabelling": lambda b, _, of, n: relabel(b, of, n),
    "plan after it": lambda b, _, of, n: b.keep_plan(of, a_plan(2)),
    "withdrawal": lambda b, _, of, n: b.withdraw_recording(b.recordings(of)[0].id),
    "closing": lambda b, _, of, n: b.close_visit(of),
}


@contextmanager
def two_books(place: Path) -> Iterator[tuple[SeenBook, Book]]:
    """The same book twice: one that remembers, and one that another program has open."""
    with create_book(place / "book", clock=Clock()) as other:
        for organ in ORGANS:
            other.add_organ(f"Hall {organ}", f"{DESCRIPTION}# {organ}\n")
            other.open_visit(organ, "spring")
        seen = open_seen(place / "book", clock=Clock())
        try:
            yield seen, other
        finally:
            seen.close()


def test_every_answer_is_current_after_every_kind_of_write(tmp_path: Path) -> None:
    with two_books(tmp_path) as (seen, other):
        for number, (name, write) in enumerate(WRITES.items()):
            before = everything(seen, (1,))
            write((seen, other)[number % 2], tmp_path, 1, number)
            assert everything(seen, (1,)) == everything(other, (1,)), name
            assert everything(seen, (1,)) != before, f"{name}: nothing changed: nothing tried"


class SeenMachine(RuleBasedStateMachine):
    """Writes through the book that remembers or through another, and compares all answers."""

    @initialize()
    def make(self) -> None:
        self.place = Path(tempfile.mkdtemp(prefix="seen-"))
        self.stack = ExitStack()
        self.seen, self.other = self.stack.enter_context(two_books(self.place))
        self.number = 0

    @rule(name=st.sampled_from(sorted(WRITES)), of=st.sampled_from(ORGANS), by_other=st.booleans())
    def write(self, name: str, of: int, by_other: bool) -> None:
        self.number += 1
        with suppress(BookError, IndexError):  # nothing to link, relabel or close any more
            WRITES[name](self.other if by_other else self.seen, self.place, of, self.number)

    @rule(is_within=st.booleans())
    def compare(self, is_within: bool) -> None:
        with ExitStack() as stack:
            if is_within:  # as one request does
                stack.enter_context(self.seen.one_moment())
            found = self.seen.seen("everything", lambda: everything(self.seen))
            assert found == everything(self.other)

    def teardown(self) -> None:
        if hasattr(self, "stack"):
            self.compare(is_within=True)
            self.stack.close()
            shutil.rmtree(self.place)


@pytest.mark.long
class TestSeenForLong(SeenMachine.TestCase):  # type: ignore[misc, valid-type]
    settings = settings(max_examples=30, stateful_step_count=40, deadline=None)
