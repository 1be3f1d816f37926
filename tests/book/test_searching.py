"""Search by words."""

from collections.abc import Iterable

from tests.book.making import MORNING, PRINCIPAL, a_plan
from walkboard.book.keeping import Book
from walkboard.book.records import Found, KeptVisit, Tick
from walkboard.organ.model import PipeRef


def kinds(found: Iterable[Found]) -> list[str]:
    return [one.kind for one in found]


def test_all_words_anywhere_whatever_case_and_accents(
    book: Book, organ_id: int, visit: KeptVisit
) -> None:
    fault = book.report_fault(organ_id, "cipher", "Trompete heult bei Föhn", key="C2")
    book.add_note(visit.id, "the föhn blew all day")
    book.close_visit(visit.id, "FOHN again")
    assert kinds(book.search("fohn")) == ["note", "fault", "visit"]
    assert book.search("TROMPETE föhn") == (
        Found(
            "fault",
            fault.id,
            organ_id,
            None,
            fault.reported_at,
            "cipher · C2 · Trompete heult bei Föhn",
        ),
    )
    assert book.search("trompete schnee") == ()


def test_ticks_events_and_fixes_are_found(book: Book, organ_id: int, visit: KeptVisit) -> None:
    book.keep_plan(visit.id, a_plan(1))
    pipe = PipeRef(PRINCIPAL, 1)
    book.set_tick(Tick("t", visit.id, pipe, "skipped", "slide stuck", MORNING))
    fault = book.report_fault(organ_id, "rattle", "buzz")
    book.mark_fixed(fault.id, visit_id=visit.id, note="slide of the canister was loose")
    book.keep_event(organ_id, "e", MORNING, "Lecture with slides")
    book.keep_event(organ_id, "e", MORNING, "Lecture")
    found = book.search("slide")
    assert sorted(kinds(found)) == ["fault", "tick"]  # the event's title was changed meanwhile
    assert {one.visit_id for one in found} == {visit.id}
    assert kinds(book.search("lecture")) == ["event"]
    assert kinds(book.search("principal4:1")) == ["tick"]


def test_nothing_asked_finds_nothing(book: Book, visit: KeptVisit) -> None:
    assert book.search("  ") == ()
    assert kinds(book.search(visit.purpose)) == ["visit"]
