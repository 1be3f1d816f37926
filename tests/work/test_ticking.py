"""Several devices at one pipe: what counts, what is refused, and where they disagree."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from walkboard.book.keeping import Book
from walkboard.book.records import Tick
from walkboard.errors import InputError
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work import open_book
from walkboard.work.ticking import disagreements, keep_tick

PIPE = PipeRef("great.open8", 5)
_count = iter(range(10_000))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[Book]:
    with open_book.new(tmp_path / "book") as made:
        description = examples.village()
        kept = made.add_organ(read_organ(description).name, description)
        made.open_visit(kept.id, "Spring tuning")
        yield made


def press(book: Book, device: str, state: str, *, over: str = "", after_s: float = 0.0) -> Tick:
    at = datetime.now(UTC) + timedelta(seconds=after_s)
    tick = Tick(f"press-{next(_count)}", 1, PIPE, state, "", at, device)
    return keep_tick(book, tick, over)


def standing(book: Book) -> tuple[str, str]:
    tick = book.pipe_states(1)[PIPE]
    return tick.state, tick.device


def test_a_skip_does_not_count_over_what_another_device_has_done(book: Book) -> None:
    press(book, "Tuner", "done")
    press(book, "Helper", "skipped")
    assert standing(book) == ("done", "Tuner")
    assert [t.state for t in book.ticks(1)] == ["done", "skipped"]  # both stay in the history
    done, skipped = disagreements(book.ticks(1))[str(PIPE)]
    assert (done.device, skipped.device) == ("Tuner", "Helper")


def test_done_counts_over_a_skip_and_the_two_are_named(book: Book) -> None:
    press(book, "Helper", "skipped")
    press(book, "Tuner", "done")
    assert standing(book) == ("done", "Tuner")
    assert list(disagreements(book.ticks(1))) == [str(PIPE)]


def test_one_device_may_change_its_mind(book: Book) -> None:
    done = press(book, "Tuner", "done")
    press(book, "Tuner", "open", over=done.uid)
    press(book, "Tuner", "skipped")
    assert standing(book) == ("skipped", "Tuner")
    assert not disagreements(book.ticks(1))


def test_undo_of_done_gives_the_skip_before_it_again(book: Book) -> None:
    press(book, "Tuner", "skipped")
    done = press(book, "Tuner", "done")
    press(book, "Tuner", "skipped", over=done.uid)
    assert standing(book) == ("skipped", "Tuner")


def test_nobody_takes_back_what_another_has_done_meanwhile(book: Book) -> None:
    own = press(book, "Helper", "done")
    press(book, "Tuner", "done")
    with pytest.raises(InputError, match="Tuner has done"):
        press(book, "Helper", "open", over=own.uid)
    assert standing(book) == ("done", "Tuner")


def test_what_another_device_did_may_be_opened_by_who_saw_it(book: Book) -> None:
    seen = press(book, "Tuner", "done")
    press(book, "Helper", "open", over=seen.uid)
    assert standing(book) == ("open", "Helper")


def test_a_tick_sent_twice_is_kept_once(book: Book) -> None:
    tick = Tick("sent-twice", 1, PIPE, "done", "", datetime.now(UTC), "Tuner")
    keep_tick(book, tick)
    keep_tick(book, tick)
    assert len(book.ticks(1)) == 1


def test_a_helper_who_saw_it_done_may_skip_it_instead(book: Book) -> None:
    """Done by the tuner at the wrong pipe: taken back first, or the skip would not count."""
    seen = press(book, "Tuner", "done")
    press(book, "Helper", "skipped", over=seen.uid)
    assert standing(book) == ("skipped", "Helper")
    assert [t.state for t in book.ticks(1)] == ["done", "open", "skipped"]
    assert not disagreements(book.ticks(1))


def test_a_phone_that_sends_again_is_not_refused_for_what_came_since(book: Book) -> None:
    """Its answer was lost in the church's wall; the tuner has done the pipe in between."""
    own = press(book, "Helper", "done")
    again = Tick("taken-back", 1, PIPE, "open", "", datetime.now(UTC), "Helper")
    keep_tick(book, again, own.uid)
    press(book, "Tuner", "done", after_s=1.0)
    keep_tick(book, again, own.uid)
    assert standing(book) == ("done", "Tuner")
    assert len(book.ticks(1)) == 3


def test_one_device_does_not_disagree_with_itself_nor_with_what_was_opened_since(
    book: Book,
) -> None:
    press(book, "Tuner", "skipped")
    done = press(book, "Tuner", "done")
    assert not disagreements(book.ticks(1))
    press(book, "Tuner", "open", over=done.uid)
    press(book, "Helper", "skipped")
    assert not disagreements(book.ticks(1))
