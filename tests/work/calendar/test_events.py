"""The calendar in a book: imported again and again, with entries made by hand."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from tests.work.calendar.test_files import calendar
from walkboard.book.keeping import Book
from walkboard.errors import BookError, InputError, UnknownNameError
from walkboard.organ import examples
from walkboard.organ.reading import read_organ
from walkboard.work import open_book
from walkboard.work.calendar import events as work

SOON = datetime.now(UTC).replace(microsecond=0) + timedelta(days=10)
OPEN = "great.open8"


@pytest.fixture(scope="module")
def shared(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    with open_book.new(tmp_path_factory.mktemp("calendar") / "book") as book:
        yield book


@pytest.fixture
def organ_id(shared: Book, request: pytest.FixtureRequest) -> int:
    """A new organ of the one book for each test."""
    return shared.add_organ(request.node.name, examples.village()).id


def event(at: datetime, *more: str, uid: str = "r@tarnhaven") -> tuple[str, ...]:
    return (f"UID:{uid}", "SUMMARY:Recital", f"DTSTART:{at:%Y%m%dT%H%M%SZ}", *more)


def standing(book: Book, organ_id: int) -> list[datetime]:
    return [e.starts_at for e in book.events(organ_id) if not e.cancelled]


def test_the_same_file_again_changes_nothing(shared: Book, organ_id: int) -> None:
    data = calendar(event(SOON, "RRULE:FREQ=WEEKLY;COUNT=5"), event(SOON, uid="other"))
    assert work.take_in_calendar(shared, organ_id, data) == work.Taken(6, 0, 0, 0)
    before = shared.events(organ_id)
    assert work.take_in_calendar(shared, organ_id, data) == work.Taken(0, 0, 6, 0)
    assert shared.events(organ_id) == before


def test_a_moved_event_keeps_its_uid_and_what_was_written_in(shared: Book, organ_id: int) -> None:
    work.take_in_calendar(shared, organ_id, calendar(event(SOON)))
    kept = shared.organ(organ_id)
    organ = read_organ(kept.description)
    work.keep_by_hand(
        shared, kept, organ, "Recital", SOON, stops=[OPEN], air_celsius=19.5, uid="r@tarnhaven"
    )
    later = SOON + timedelta(hours=2)
    assert work.take_in_calendar(shared, organ_id, calendar(event(later))).changed == 1
    (found,) = shared.events(organ_id)
    assert (found.uid, found.starts_at) == ("r@tarnhaven", later)
    assert (found.stops, found.air_celsius) == ((OPEN,), 19.5)


def test_instances_that_a_rule_has_no_more_are_called_off(shared: Book, organ_id: int) -> None:
    weekly = event(SOON, "RRULE:FREQ=WEEKLY;COUNT=4")
    work.take_in_calendar(shared, organ_id, calendar(weekly))
    moved = event(SOON + timedelta(hours=1), "RRULE:FREQ=WEEKLY;COUNT=3")
    taken = work.take_in_calendar(shared, organ_id, calendar(moved))
    assert (taken.new, taken.called_off) == (3, 4)
    assert standing(shared, organ_id) == [SOON + timedelta(hours=1, weeks=w) for w in range(3)]


def test_what_was_called_off_by_hand_stays_so_until_the_calendar_says_otherwise(
    shared: Book, organ_id: int
) -> None:
    data = calendar(event(SOON))
    work.take_in_calendar(shared, organ_id, data)
    shared.cancel_event(organ_id, "r@tarnhaven")
    assert work.take_in_calendar(shared, organ_id, data).same == 1
    assert standing(shared, organ_id) == []
    work.take_in_calendar(shared, organ_id, calendar(event(SOON + timedelta(days=1))))
    assert standing(shared, organ_id) == [SOON + timedelta(days=1)]


def test_a_cancelled_event_is_called_off(shared: Book, organ_id: int) -> None:
    """RFC 5545, 3.8.1.11 STATUS:CANCELLED, and RFC 5546, 3.2.5 METHOD:CANCEL."""
    work.take_in_calendar(shared, organ_id, calendar(event(SOON), event(SOON, uid="other")))
    work.take_in_calendar(shared, organ_id, calendar(event(SOON, "STATUS:CANCELLED")))
    method = calendar(event(SOON, uid="other"), head=("METHOD:CANCEL",))
    assert work.take_in_calendar(shared, organ_id, method).called_off == 1
    assert standing(shared, organ_id) == []


def test_a_book_gives_its_calendar_to_another(shared: Book, organ_id: int) -> None:
    kept = shared.organ(organ_id)
    organ = read_organ(kept.description)
    work.take_in_calendar(
        shared, organ_id, calendar(event(SOON, "RRULE:FREQ=WEEKLY;COUNT=3", uid="w"))
    )
    work.keep_by_hand(shared, kept, organ, "Carols", SOON, stops=[OPEN], air_celsius=16.0)
    other = shared.add_organ(f"{kept.name} two", kept.description)
    work.take_in_calendar(shared, other.id, work.calendar_bytes(shared, kept))

    def programme(of: int) -> list[tuple[object, ...]]:
        return sorted(
            (e.uid, e.starts_at, e.title, e.stops, e.air_celsius) for e in shared.events(of)
        )

    assert programme(other.id) == programme(organ_id)


def test_a_broken_file_keeps_nothing(shared: Book, organ_id: int) -> None:
    data = calendar(event(SOON), event(SOON, "RRULE:FREQ=SECONDLY", uid="odd"))
    with pytest.raises(InputError, match=r"venue\.ics: Recital \(line \d+\) recurs in a way"):
        work.take_in_calendar(shared, organ_id, data, where="venue.ics")
    assert shared.events(organ_id) == ()


def test_what_is_written_in_is_checked(shared: Book, organ_id: int, tmp_path: Path) -> None:
    kept = shared.organ(organ_id)
    organ = read_organ(kept.description)
    with pytest.raises(InputError, match="needs a title"):
        work.keep_by_hand(shared, kept, organ, "  ", SOON)
    with pytest.raises(InputError, match="Air of 99 °C"):
        work.keep_by_hand(shared, kept, organ, "Recital", SOON, air_celsius=99.0)
    with pytest.raises(UnknownNameError, match=r"no\.stop"):
        work.keep_by_hand(shared, kept, organ, "Recital", SOON, stops=["no.stop"])
    with pytest.raises(BookError, match="no event 'x'"):
        work.keep_by_hand(shared, kept, organ, "Recital", SOON, uid="x")
    wall = datetime(2031, 7, 1, 19, 30, tzinfo=UTC).replace(tzinfo=None)  # as a form gives it
    made = work.keep_by_hand(shared, kept, organ, "Recital", wall)
    assert made.starts_at.astimezone(work.local_zone()).replace(tzinfo=None) == wall
    written = work.write_calendar_file(shared, kept, tmp_path / "events.ics")
    assert written.read_bytes().startswith(b"BEGIN:VCALENDAR\r\n")


def test_a_time_that_no_clock_shows_is_refused_with_the_one_meant() -> None:
    """Summer time in Berlin began on 2031-03-30 at 2:00 by the rule of Directive 2000/84/EC."""
    berlin = ZoneInfo("Europe/Berlin")
    with pytest.raises(InputError, match=r"02:30 does not exist on 2031-03-30.*03:30"):
        work.in_zone(work.moment("2031-03-30 02:30"), berlin)
    assert work.in_zone(work.moment("2031-03-30T03:30"), berlin).utcoffset() == timedelta(hours=2)
    twice = work.in_zone(work.moment("2031-10-26 02:30"), berlin)
    assert twice.utcoffset() == timedelta(hours=2)  # the first of the two
    given = work.moment("2031-03-30T02:30+01:00")
    assert work.in_zone(given, berlin) is given


def test_an_event_that_was_called_off_comes_back_called_off(shared: Book, organ_id: int) -> None:
    kept = shared.keep_event(organ_id, "off", SOON, "Recital", air_celsius=19.5)
    shared.cancel_event(organ_id, "off")
    written = work.calendar_bytes(shared, shared.organ(organ_id))
    other = shared.add_organ("Another", "# another").id
    taken = work.take_in_calendar(shared, other, written)
    (back,) = shared.events(other)
    assert (back.cancelled, back.title, back.starts_at, back.air_celsius) == (
        True, "Recital", kept.starts_at, 19.5,
    )  # fmt: skip
    assert taken.called_off == 1
    assert work.take_in_calendar(shared, other, written).called_off == 0
