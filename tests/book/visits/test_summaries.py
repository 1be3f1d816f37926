"""Counts of visits agree with what is counted when everything is read."""

from datetime import timedelta
from pathlib import Path

from tests.book.making import (
    MORNING,
    PRINCIPAL,
    VERSION,
    a_hold,
    a_plan,
    a_reading,
    a_sound,
    a_walk,
)
from walkboard.book.cache.seen import open_seen
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit, Tick, TickState
from walkboard.book.visits.summaries import VisitSummary
from walkboard.listening.readings import Measured
from walkboard.organ.model import PipeRef


def counted(book: Book, visit: KeptVisit) -> VisitSummary:
    return VisitSummary(
        sum(isinstance(r.reading, Measured) for r in book.best_readings(visit.id).values()),
        sum(t.state == TickState.DONE for t in book.pipe_states(visit.id).values()),
        bool(book.plans(visit.id)),
    )


def test_a_visit_in_numbers(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    # Pipe 1 twice, pipe 2 once, pipe 3 without a value; 11 and 1 must not be taken for one another.
    walk = a_walk(
        a_hold(1), a_hold(2), a_hold(3, a_reading(3, cents=None)), a_hold(4, a_reading(1)),
        a_hold(5, a_reading(11)),
    )  # fmt: skip
    kept = book.keep_recording(visit.id, a_sound(tmp_path), walk, program_version=VERSION)
    for uid, number, state, at in (
        ("a", 1, "done", 0), ("b", 1, "open", 60), ("c", 2, "open", 0), ("d", 2, "done", 60),
        ("e", 3, "skipped", 0), ("f", 4, "done", 0),
        ("ahead", 4, "open", 10**9),  # a clock far ahead counts from when it was received
    ):  # fmt: skip
        pipe = PipeRef(PRINCIPAL, number)
        made = MORNING + timedelta(seconds=at)
        book.set_tick(Tick(uid, visit.id, pipe, state, "", made))
    book.set_tick(Tick("g", visit.id, PipeRef(PRINCIPAL, 4), "done", "", MORNING))
    sums = book.visit_summaries(visit.organ_id)
    assert sums == {visit.id: counted(book, visit)} == {visit.id: VisitSummary(3, 1, False)}
    book.keep_plan(visit.id, a_plan())
    book.close_visit(visit.id)
    later = book.open_visit(visit.organ_id, "autumn")
    other = book.add_organ("Another", "# another").id
    assert book.visit_summaries(visit.organ_id) == {
        visit.id: VisitSummary(3, 1, True), later.id: VisitSummary(),
    }  # fmt: skip
    assert book.visit_summaries(other) == {}
    assert book.last_heard(visit.organ_id) == {PRINCIPAL: visit.id}
    assert book.ranks_heard(visit.id) == {PRINCIPAL}
    assert book.ranks_heard(later.id) == frozenset()
    assert book.last_heard(other) == {}
    book.withdraw_recording(kept.id)
    assert book.visit_summaries(visit.organ_id)[visit.id].pipes_read == 0
    assert book.last_heard(visit.organ_id) == {}
    assert book.ranks_heard(visit.id) == frozenset()


def test_the_newest_visit_that_heard_a_rank(book: Book, organ_id: int, tmp_path: Path) -> None:
    for name in ("spring", "autumn"):
        visit = book.open_visit(organ_id, name)
        book.keep_recording(
            visit.id, a_sound(tmp_path, name, name.encode()), a_walk(), program_version=VERSION
        )
        book.close_visit(visit.id)
    last = book.open_visit(organ_id, "winter")
    silent = a_walk(a_hold(1, a_reading(1, cents=None)))
    book.keep_recording(last.id, a_sound(tmp_path, "w", b"w"), silent, program_version=VERSION)
    assert book.last_heard(organ_id) == {PRINCIPAL: 2}


def test_pages_are_given_the_same(book: Book, visit: KeptVisit) -> None:
    with open_seen(book.path, clock=lambda: MORNING) as seen:
        before = seen.visit_summaries(visit.organ_id)
        assert before == book.visit_summaries(visit.organ_id)
        book.set_tick(Tick("a", visit.id, PipeRef(PRINCIPAL, 1), "done", "", MORNING))
        assert seen.visit_summaries(visit.organ_id)[visit.id].pipes_done == 1
