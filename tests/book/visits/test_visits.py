"""A visit from opening to closing, and what is refused on the way."""

from datetime import datetime

import pytest

from tests.book.making import DESCRIPTION, MORNING, VERSION, a_plan, a_sound, a_walk
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, KeptVisit, Tick
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef


def test_one_open_visit_an_organ_at_a_time(book: Book, organ_id: int, visit: KeptVisit) -> None:
    with pytest.raises(BookError, match=r"Visit 1 to Harbour Hall .* is still open"):
        book.open_visit(organ_id, "another")
    assert book.visits(organ_id) == (visit,)
    other = book.add_organ("Village Church", DESCRIPTION)
    assert book.open_visit(other.id, "another organ may").is_open
    book.close_visit(visit.id)
    assert book.open_visit(organ_id, "the next").is_open


def test_the_visit_in_progress(book: Book, organ_id: int, visit: KeptVisit) -> None:
    assert book.visit_in_progress(organ_id) == visit
    book.close_visit(visit.id)
    assert book.visit_in_progress(organ_id) is None


def test_conditions_can_be_noted_any_number_of_times(book: Book, organ_id: int) -> None:
    arrival = Conditions({"great": 16.5, "swell": 17.0}, 0.48, {"great": 75.0}, MORNING)
    later = Conditions({"great": 18.25})
    visit = book.open_visit(organ_id, "spring", conditions=arrival)
    visit = book.note_conditions(visit.id, later)
    assert visit.conditions[0] == arrival
    assert visit.conditions[1].air_celsius == {"great": 18.25}
    assert visit.conditions[1].noted_at is not None
    assert visit.conditions[1].noted_at > visit.opened_at


def test_a_time_without_zone_is_refused(book: Book, visit: KeptVisit) -> None:
    noted = Conditions(noted_at=datetime(2031, 3, 1, 9, 0))  # noqa: DTZ001
    with pytest.raises(BookError, match="without a time zone"):
        book.note_conditions(visit.id, noted)
    assert book.visit(visit.id).conditions == ()


def test_a_clock_without_zone_is_a_slip_of_the_program(book: Book, organ_id: int) -> None:
    book._clock = lambda: datetime(2031, 3, 1, 9, 0)  # noqa: DTZ001
    with pytest.raises(ValueError, match="must return time-zone aware"):
        book.open_visit(organ_id, "spring")


def test_a_closed_visit_can_only_be_read_and_get_notes(
    book: Book, visit: KeptVisit, tmp_path
) -> None:
    closed = book.close_visit(visit.id, "reeds left for the summer")
    assert closed.closed_at is not None
    assert closed.closing_note == "reeds left for the summer"
    late = Tick("t1", visit.id, PipeRef("great.principal4", 1), "done", "", book._clock())
    for refused in (
        lambda: book.note_conditions(visit.id, Conditions({"great": 20.0})),
        lambda: book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION),
        lambda: book.keep_plan(visit.id, a_plan()),
        lambda: book.set_tick(late),
        lambda: book.close_visit(visit.id),
    ):
        with pytest.raises(BookError, match="was closed on 2031-03-01 and is now read-only"):
            refused()
    assert book.visit(visit.id) == closed
    assert list(book.sounds.path.rglob("*.part")) == []
    noted = book.add_note(visit.id, "the trumpet's bottom C was fixed after all")
    assert [note.words for note in noted.notes] == ["the trumpet's bottom C was fixed after all"]
    assert noted.closed_at == closed.closed_at


def test_a_visit_that_is_not_there(book: Book) -> None:
    for missing in (book.visit, book.recordings, book.readings, book.plans, book.ticks):
        with pytest.raises(BookError, match="There is no visit 3 in this book"):
            missing(3)


def test_the_newest_visit_of_each_organ(book: Book, visit: KeptVisit) -> None:
    other = book.add_organ("Mill chapel", DESCRIPTION)
    book.add_organ("Never visited", DESCRIPTION)
    book.open_visit(other.id, "autumn")
    book.close_visit(visit.id)
    again = book.open_visit(visit.organ_id, "before the festival")
    newest = book.newest_visits()
    assert newest == {one: book.visits(one)[-1] for one in (visit.organ_id, other.id)}
    assert newest[visit.organ_id].id == again.id


def test_a_character_that_a_database_cannot_hold(book: Book, visit: KeptVisit, kind: str) -> None:
    if kind == "postgresql":
        with pytest.raises(BookError, match="contains characters that cannot be stored"):
            book.add_note(visit.id, "a\0b")
        assert book.visit(visit.id).notes == ()
    else:
        (note,) = book.add_note(visit.id, "a\0b").notes
        assert note.words == "a\0b"
