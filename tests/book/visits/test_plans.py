"""Plans and their worklists."""

import pytest

from tests.book.making import PRINCIPAL, a_plan
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit, Tick, TickState
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef


def test_a_new_plan_supersedes_the_last(book: Book, visit: KeptVisit) -> None:
    assert book.current_plan(visit.id) is None
    first = book.keep_plan(visit.id, a_plan(1, 2), event_air_celsius=21.0)
    second = book.keep_plan(visit.id, a_plan(3), event_air_celsius=20.0)
    kept = book.plans(visit.id)
    assert [plan.id for plan in kept] == [first.id, second.id]
    assert [plan.superseded_by for plan in kept] == [second.id, None]
    assert [plan.plan for plan in kept] == [first.plan, second.plan]
    assert book.current_plan(visit.id) == second
    assert second.plan.gap == pytest.approx((96.0 - 95.9) / 812.4)


def test_what_the_organ_mostly_does_is_remembered_over_visits(book: Book, visit: KeptVisit) -> None:
    assert book.last_purpose(visit.organ_id) is None
    book.keep_plan(visit.id, a_plan(1), purpose="recital")
    book.keep_plan(visit.id, a_plan(2))  # by a program that does not ask
    assert book.last_purpose(visit.organ_id) == "recital"
    book.close_visit(visit.id)
    later = book.open_visit(visit.organ_id, "autumn")
    assert book.last_purpose(visit.organ_id) == "recital"
    kept = book.keep_plan(later.id, a_plan(1), purpose="lessons")
    assert (kept.purpose, book.last_purpose(visit.organ_id)) == ("lessons", "lessons")


def test_the_worklist_shows_the_tick_that_counts(book: Book, visit: KeptVisit) -> None:
    with pytest.raises(BookError, match="Visit 1 has no plan yet"):
        book.worklist(visit.id)
    book.keep_plan(visit.id, a_plan(3, 1, 2))
    first, third = PipeRef(PRINCIPAL, 1), PipeRef(PRINCIPAL, 3)
    book.set_tick(Tick("a", visit.id, first, "done", "", book._now()))
    book.set_tick(Tick("b", visit.id, third, "done", "", book._now()))
    book.set_tick(Tick("c", visit.id, third, "skipped", "slide is stuck", book._now()))
    lines = book.worklist(visit.id)
    assert [line.item for line in lines] == list(a_plan(3, 1, 2).items)
    assert [line.state for line in lines] == [TickState.SKIPPED, TickState.DONE, TickState.OPEN]
    assert [line.tick and line.tick.note for line in lines] == ["slide is stuck", "", None]


def test_ticks_stay_when_the_visit_is_planned_anew(book: Book, visit: KeptVisit) -> None:
    book.keep_plan(visit.id, a_plan(1, 2))
    book.set_tick(Tick("a", visit.id, PipeRef(PRINCIPAL, 2), "done", "", book._now()))
    book.keep_plan(visit.id, a_plan(2, 3))
    assert [line.state for line in book.worklist(visit.id)] == [TickState.DONE, TickState.OPEN]
