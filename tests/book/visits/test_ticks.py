"""Ticks from several devices, sent late, twice and out of order."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.book.making import DESCRIPTION, MORNING, PRINCIPAL, Clock
from walkboard.book import open_book
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit, Tick
from walkboard.errors import BookError
from walkboard.organ.model import PipeRef

PIPE = PipeRef(PRINCIPAL, 1)


def tick(uid: str, state: str, minute: int, pipe: PipeRef = PIPE) -> Tick:
    return Tick(uid, 1, pipe, state, "", MORNING - timedelta(minutes=60 - minute), "phone")


def test_sending_a_tick_twice_keeps_it_once(book: Book, visit: KeptVisit) -> None:
    sent = tick("a", "done", 1)
    kept = book.set_tick(sent)
    assert book.set_tick(sent) == kept
    (only,) = book.ticks(visit.id)
    assert only == sent
    assert only.received_at == kept.received_at


def test_a_uid_says_one_thing_only(book: Book, visit: KeptVisit) -> None:
    book.set_tick(tick("a", "done", 1))
    with pytest.raises(BookError, match="'a' is already stored with different contents"):
        book.set_tick(tick("a", "skipped", 1))
    assert [t.state for t in book.ticks(visit.id)] == ["done"]


def test_a_tick_from_the_hour_that_comes_twice(book: Book, visit: KeptVisit) -> None:
    # 26 October 2025, 02:30 comes twice in Berlin (IANA tz database); such an hour equals nothing
    # in another zone, so a tick sent again once looked like another one.
    at = datetime(2025, 10, 26, 2, 30, fold=1, tzinfo=ZoneInfo("Europe/Berlin"))
    sent = replace(tick("a", "done", 1), at=at)
    assert book.set_tick(sent) == book.set_tick(sent)
    assert book.ticks(visit.id)[0].at.isoformat() == "2025-10-26T01:30:00+00:00"


def test_the_last_one_counts_by_the_time_it_was_made(book: Book, visit: KeptVisit) -> None:
    book.set_tick(tick("b", "open", 2))
    book.set_tick(tick("a", "done", 1))  # made before, arrives after
    assert book.pipe_states(visit.id)[PIPE].uid == "b"
    assert [t.uid for t in book.ticks(visit.id)] == ["a", "b"]


def test_a_clock_that_runs_ahead_does_not_overrule_what_follows(
    book: Book, visit: KeptVisit
) -> None:
    ahead = replace(tick("a", "done", 0), at=MORNING + timedelta(days=365))
    book.set_tick(ahead)
    book.set_tick(replace(tick("b", "open", 0), at=book._now()))
    assert book.pipe_states(visit.id)[PIPE].uid == "b"
    assert ahead in book.ticks(visit.id)


def test_a_phone_that_slept_over_the_closing_loses_no_tick(book: Book, visit: KeptVisit) -> None:
    made = replace(tick("a", "done", 0), at=book._now())
    closed = book.close_visit(visit.id)
    assert book.set_tick(made) == made
    assert closed.closed_at is not None
    after = replace(tick("b", "done", 0), at=closed.closed_at + timedelta(seconds=1))
    with pytest.raises(BookError, match="is now read-only"):
        book.set_tick(after)
    assert book.ticks(visit.id) == (made,)
    assert book.set_tick(made) == made


def test_a_tick_must_say_something(book: Book, visit: KeptVisit) -> None:
    with pytest.raises(BookError, match=r"cannot be 'maybe'\. It is one of: done, skipped, open"):
        book.set_tick(tick("a", "maybe", 1))
    with pytest.raises(BookError, match="must have a uid"):
        book.set_tick(tick("", "done", 1))
    with pytest.raises(BookError, match="There is no visit 9"):
        book.set_tick(replace(tick("a", "done", 1), visit_id=9))
    assert book.ticks(visit.id) == ()


@pytest.fixture(scope="module")
def shared(new_folder: Callable[[], Path]) -> Iterator[Book]:
    with open_book(new_folder(), clock=Clock()) as book:
        yield book


@settings(max_examples=15, deadline=None)
@given(data=st.data())
def test_ticks_in_any_order_and_repeated_end_the_same(shared: Book, data: st.DataObject) -> None:
    organ = shared.add_organ(f"organ {len(shared.organs())}", DESCRIPTION)
    visit = shared.open_visit(organ.id, "two phones and a laptop")
    minutes = data.draw(st.lists(st.integers(0, 50), unique=True, min_size=1, max_size=6))
    made = [
        replace(
            tick(
                f"{visit.id}/{minute}", data.draw(st.sampled_from(["done", "skipped", "open"])), 0
            ),
            visit_id=visit.id,
            pipe=PipeRef(PRINCIPAL, data.draw(st.integers(1, 2))),
            at=MORNING - timedelta(minutes=minute),
        )
        for minute in minutes
    ]
    sent = data.draw(st.permutations(made + made[::2]))
    for one in sent:
        shared.set_tick(one)
    assert len(shared.ticks(visit.id)) == len(made)
    expected = {one.pipe: one for one in sorted(made, key=lambda one: one.at)}
    assert shared.pipe_states(visit.id) == expected
