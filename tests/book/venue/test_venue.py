"""What the book keeps for the venue: next visit, contacts, repairs, photographs, logged air."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from tests.book.making import MORNING, Clock
from walkboard.book.importing import import_book
from walkboard.book.keeping import Book
from walkboard.book.records import FaultKind
from walkboard.book.venue.records import AirLog, Contact, FaultCare, NextVisit, Role
from walkboard.errors import BookError, InputError

LOG = AirLog("great", "nave.csv", MORNING, (0.0, 10.0, 20.0), (15.1, 15.3, 15.2), (0.5, 0.51, 0.5))
# The smallest beginning of each format (W3C PNG, 5.2; ITU-T T.81, B.1.1.3): nothing decodes it.
PNG = b"\x89PNG\r\n\x1a\n" + bytes(24)


def a_fault(book: Book, organ_id: int) -> int:
    return book.report_fault(organ_id, FaultKind.CIPHER, "sounds on").id


def test_the_newest_word_about_the_next_visit_counts(book: Book, organ_id: int) -> None:
    assert book.next_visit(organ_id) is None
    book.keep_next_visit(organ_id, NextVisit(MORNING, 3.0, "Before the recital."))
    later = NextVisit(MORNING + timedelta(days=7), 4.5, "The hall is booked before.")
    book.keep_next_visit(organ_id, later)
    assert book.next_visit(organ_id) == later
    with pytest.raises(BookError, match="too short"):
        book.keep_next_visit(organ_id, NextVisit(MORNING, 0.0))


def test_each_role_has_one_contact_and_an_empty_name_removes_it(book: Book, organ_id: int) -> None:
    adviser = Contact(Role.ADVISER, "A. Green", "adviser@example.org")
    book.keep_contact(organ_id, adviser)
    book.keep_contact(organ_id, Contact(Role.OWNER, "The wardens", "01 234"))
    assert [c.role for c in book.contacts(organ_id)] == [Role.OWNER, Role.ADVISER]
    book.keep_contact(organ_id, Contact(Role.OWNER, ""))
    assert book.contacts(organ_id) == (adviser,)


def test_who_fixes_a_fault_and_how_to_play_meanwhile(book: Book, organ_id: int) -> None:
    fault = a_fault(book, organ_id)
    book.keep_fault_care(FaultCare(fault, "tuner", "a spring", ""))
    care = FaultCare(fault, "organ builder", "a spring", "Leave the Trumpet in.")
    book.keep_fault_care(care)
    assert book.fault_cares(organ_id) == {fault: care}
    with pytest.raises(BookError, match="There is no fault"):
        book.keep_fault_care(FaultCare(99, "tuner"))


def test_a_photograph_lies_in_the_book_with_its_rights(
    book: Book, organ_id: int, tmp_path: Path
) -> None:
    source = tmp_path / "slide.png"
    source.write_bytes(PNG)
    fault = a_fault(book, organ_id)
    kept = book.keep_photograph(
        organ_id, source, shows="Loose slide", rights="The tuner; venue may print", fault_id=fault
    )
    assert kept.path.read_bytes() == PNG
    assert book.photographs(organ_id) == (kept,)
    assert book.check() == ()
    copy = tmp_path / "copy"
    assert book.copy_to(copy) == ()
    assert (copy / kept.path.relative_to(book.path)).read_bytes() == PNG


@pytest.mark.parametrize(("name", "content"), [("a.png", b"GIF89a"), ("a.gif", b"GIF89a")])
def test_what_is_not_a_picture_is_refused(
    book: Book, organ_id: int, tmp_path: Path, name: str, content: bytes
) -> None:
    (tmp_path / name).write_bytes(content)
    with pytest.raises(InputError, match="not a JPEG or PNG"):
        book.keep_photograph(organ_id, tmp_path / name, shows="x")
    assert book.photographs(organ_id) == ()


def test_a_log_is_kept_once_and_can_be_corrected(book: Book, organ_id: int) -> None:
    kept = book.keep_air_log(organ_id, LOG)
    assert book.keep_air_log(organ_id, LOG) == kept
    right = replace(LOG, starts_at=MORNING - timedelta(hours=1))
    corrected = book.keep_air_log(organ_id, right, in_place_of=kept.id)
    assert book.air_logs(organ_id) == (corrected,)
    assert replace(corrected, id=0) == right


@pytest.mark.parametrize(
    "broken",
    [
        replace(LOG, minutes=(0.0, 20.0, 10.0)),
        replace(LOG, celsius=(15.0,)),
        replace(LOG, humidity=(0.5,)),
        replace(LOG, minutes=(), celsius=(), humidity=()),
    ],
)
def test_what_is_not_a_series_is_refused(book: Book, organ_id: int, broken: AirLog) -> None:
    with pytest.raises(BookError, match="not a series"):
        book.keep_air_log(organ_id, broken)


def test_an_export_brings_all_of_it_back(
    book: Book, organ_id: int, tmp_path: Path, clock: Clock
) -> None:
    book.keep_next_visit(organ_id, NextVisit(MORNING, 3.0, "Before the recital."))
    book.keep_contact(organ_id, Contact(Role.OWNER, "The wardens"))
    book.keep_fault_care(FaultCare(a_fault(book, organ_id), "tuner"))
    book.keep_air_log(organ_id, LOG)
    book.export_json(tmp_path / "book.json")
    with import_book(tmp_path / "book.json", tmp_path / "again", clock=clock) as again:
        assert again.next_visit(organ_id) == book.next_visit(organ_id)
        assert again.contacts(organ_id) == book.contacts(organ_id)
        assert again.fault_cares(organ_id) == book.fault_cares(organ_id)
        assert again.air_logs(organ_id) == book.air_logs(organ_id)
