"""Page 1 of a book's report: the event's own figures, what came back, what is left."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from datetime import UTC, timedelta
from pathlib import Path

import pytest

from tests.work.chapel import chapel_book
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind
from walkboard.book.venue.records import Contact, FaultCare, NextVisit, Role
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.sheets.front_page.build import front_page
from walkboard.sheets.front_page.news import Question
from walkboard.work import print_sheets
from walkboard.work.venue_news import stop_name, venue_news


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("venue") / "book"
    chapel_book(folder)
    return folder


@pytest.fixture
def book(made: Path, tmp_path: Path) -> Iterator[Book]:
    from walkboard.work import open_book

    with open_book.opened(Path(shutil.copytree(made, tmp_path / "book"))) as opened:
        yield opened


def organ_of(book: Book) -> Organ:
    return read_organ(book.organ(1).description)


def test_the_event_is_the_next_one_with_its_own_air_and_stops(book: Book) -> None:
    organ, visit = organ_of(book), book.visit(1)
    after = visit.opened_at
    book.keep_event(1, "past", after - timedelta(days=2), "Yesterday's service", air_celsius=10.0)
    heard, unheard = "great.principal8", "great.twelfth"
    book.keep_event(
        1, "next", after + timedelta(days=9), "Recital", stops=(heard, unheard), air_celsius=19.0
    )
    book.keep_event(1, "later", after + timedelta(days=20), "Choir", air_celsius=21.0)
    event = venue_news(book, organ, visit, zone=UTC).event
    assert event is not None
    assert (event.title, event.celsius) == ("Recital", 19.0)
    assert event.at == after + timedelta(days=9)
    assert event.not_heard == (stop_name(organ, unheard),)
    assert event.is_ready is False  # every ninth pipe stands 8 cents off, none is tuned
    assert stop_name(organ, heard) in event.weakest
    book.cancel_event(1, "next")
    other = venue_news(book, organ, visit, zone=UTC).event
    assert other is not None
    assert other.title == "Choir"


def test_an_organ_that_was_never_heard_is_not_called_ready(tmp_path: Path) -> None:
    from walkboard.work import open_book

    chapel_book(tmp_path / "book", is_heard=False)
    with open_book.opened(tmp_path / "book") as book:
        visit = book.visit(1)
        book.keep_event(1, "next", visit.opened_at + timedelta(days=9), "Recital")
        event = venue_news(book, organ_of(book), visit).event
    assert event is not None
    assert event.is_ready is None


def test_trouble_that_came_back_is_counted_at_its_place(book: Book) -> None:
    stop = "great.trumpet8"
    first = book.report_fault(1, FaultKind.DEAD_NOTE, "no sound", stop=stop, key="D#3")
    book.mark_fixed(first.id, visit_id=1, note="dirt")
    second = book.report_fault(1, FaultKind.CIPHER, "again", stop=stop, key="D#3")
    book.report_fault(1, FaultKind.CIPHER, "elsewhere", stop=stop, key="E3")
    book.keep_fault_care(FaultCare(second.id, "the builder", "a spring", "leave it in"))
    faults = venue_news(book, organ_of(book), book.visit(1)).faults
    assert [(f.key, f.times, f.who, f.meanwhile) for f in faults] == [
        ("E3", 1, "", ""),
        ("D#3", 2, "the builder", "leave it in"),
    ]


def test_the_next_visit_and_whom_to_ask(book: Book) -> None:
    visit = book.visit(1)
    book.keep_next_visit(1, NextVisit(visit.opened_at + timedelta(days=7), 3.0, "the choir"))
    book.keep_contact(1, Contact(Role.TUNER, "A. Hand", "01 234"))
    news = venue_news(book, organ_of(book), visit, zone=UTC)
    assert news.next_visit is not None
    assert (news.next_visit.hours, news.next_visit.reason) == (3.0, "the choir")
    assert news.contact == "A. Hand, 01 234"
    # One that has passed by the day of the visit is not the next one.
    book.keep_next_visit(1, NextVisit(visit.opened_at - timedelta(days=1), 3.0, ""))
    assert venue_news(book, organ_of(book), visit).next_visit is None


def test_the_report_of_a_book_answers_every_question(book: Book, tmp_path: Path) -> None:
    organ, visit = organ_of(book), book.visit(1)
    page = front_page(venue_news(book, organ, visit))
    assert {q for answer in page.answers for q in answer.questions} == set(Question)
    for name, begins in (("r.pdf", b"%PDF-"), ("r.html", b"<!doctype html>")):
        made = print_sheets.print_report(book, organ, visit, tmp_path / name)
        assert made.read_bytes().startswith(begins)
