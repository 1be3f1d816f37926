"""Calendar events, as calendars send them: again, changed, called off."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from tests.book.making import MORNING
from walkboard.book.keeping import Book
from walkboard.errors import BookError

EASTER = datetime(2031, 4, 13, 10, 30, tzinfo=ZoneInfo("Europe/Berlin"))


def test_an_event_as_stated(book: Book, organ_id: int) -> None:
    kept = book.keep_event(
        organ_id, "e1@hall", EASTER, "Easter service", stops=("great.trumpet8",), air_celsius=19.5
    )
    assert kept.starts_at == EASTER
    assert kept.starts_at.isoformat() == "2031-04-13T08:30:00+00:00"  # summer time, UTC+2
    assert (kept.stops, kept.air_celsius, kept.cancelled) == (("great.trumpet8",), 19.5, False)
    assert book.events(organ_id) == (kept,)


def test_an_event_stored_again_is_the_same_and_a_change_supersedes(
    book: Book, organ_id: int
) -> None:
    first = book.keep_event(organ_id, "e1", EASTER, "Easter service")
    assert book.keep_event(organ_id, "e1", EASTER.astimezone(UTC), "Easter service") == first
    later = book.keep_event(organ_id, "e1", EASTER.replace(hour=11), "Easter service")
    assert later.id != first.id
    assert book.events(organ_id) == (later,)
    versions = book.event_versions(organ_id, "e1")
    assert [v.superseded_by for v in versions] == [later.id, None]


def test_an_event_that_is_called_off_and_comes_back(book: Book, organ_id: int) -> None:
    book.keep_event(organ_id, "e1", EASTER, "Recital")
    assert book.cancel_event(organ_id, "e1").cancelled
    assert [e.cancelled for e in book.events(organ_id)] == [True]
    assert not book.keep_event(organ_id, "e1", EASTER, "Recital").cancelled
    assert [e.cancelled for e in book.event_versions(organ_id, "e1")] == [False, True, False]
    with pytest.raises(BookError, match="has no event 'e2'"):
        book.cancel_event(organ_id, "e2")


def test_events_come_by_their_start_and_by_organ(book: Book, organ_id: int) -> None:
    book.keep_event(organ_id, "late", EASTER, "Evening service")
    book.keep_event(organ_id, "early", MORNING, "Rehearsal")
    other = book.add_organ("Village Church", "format = 1")
    book.keep_event(other.id, "late", MORNING, "A uid is one organ's own")
    assert [e.uid for e in book.events(organ_id)] == ["early", "late"]
    assert [e.title for e in book.events(other.id)] == ["A uid is one organ's own"]


def test_an_event_without_zone_or_uid_is_refused(book: Book, organ_id: int) -> None:
    with pytest.raises(BookError, match="without a time zone"):
        book.keep_event(organ_id, "e1", EASTER.replace(tzinfo=None), "Recital")
    with pytest.raises(BookError, match="must have a uid"):
        book.keep_event(organ_id, "", EASTER, "Recital")
    assert book.events(organ_id) == ()
