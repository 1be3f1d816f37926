"""A book that remembers: no answer is older than what it rests on, whatever that is."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest

from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, Tick
from walkboard.book.seen import SeenBook, open_seen
from walkboard.organ import examples
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ
from walkboard.work import open_book


def now() -> datetime:
    return datetime.now(UTC)


@pytest.fixture
def seen(tmp_path: Path) -> Iterator[SeenBook]:
    description = examples.village()
    with open_book.new(tmp_path / "book") as made:
        kept = made.add_organ(read_organ(description).name, description)
        made.open_visit(kept.id, "Spring tuning", minutes=60.0)
    book = open_seen(tmp_path / "book", clock=now)
    yield book
    book.close()


def tick(book: Book, number: int) -> None:
    pipe = PipeRef("great.open8", number)
    book.set_tick(Tick(f"tick-{number}", 1, pipe, "done", "", now(), "Phone"))


# Questions of every kind: some have a mark of their own, some the book has never heard of here.
QUESTIONS: dict[str, Callable[[SeenBook], object]] = {
    "states": lambda b: len(b.pipe_states(1)),
    "ticks": lambda b: len(b.ticks(1)),
    "faults": lambda b: len(b.open_faults(1)),
    "visit": lambda b: b.visit(1).conditions,
    "versions": lambda b: len(b.organ_versions(1)),
    "weights": lambda b: len(b.weights(1)),
    "change": lambda b: b.change(),
}
CHANGES: dict[str, Callable[[Book], object]] = {
    "states": lambda b: tick(b, 3),
    "ticks": lambda b: tick(b, 3),
    "faults": lambda b: b.report_fault(1, FaultKind.CIPHER, "by itself"),
    "visit": lambda b: b.note_conditions(1, Conditions({"great": 17.0}, 0.5)),
    "versions": lambda b: b.revise_organ(1, b.organ(1).name, b.organ(1).description + "\n"),
    "weights": lambda b: b.keep_weight(1, "great.open8", 2.0),
    "change": lambda b: tick(b, 3),
}


@pytest.mark.parametrize("name", QUESTIONS)
def test_what_rests_on_a_question_is_worked_out_again_when_its_answer_changes(
    seen: SeenBook, name: str
) -> None:
    ask, change = QUESTIONS[name], CHANGES[name]
    found = seen.seen(("test", name), lambda: ("worked out", ask(seen)))
    outer = seen.seen(("outer", name), lambda: seen.seen(("test", name), lambda: found)[1])
    change(seen)
    again = seen.seen(("test", name), lambda: ("worked out", ask(seen)))
    assert again != found
    assert seen.seen(("outer", name), lambda: ask(seen)) != outer


def test_what_does_not_rest_on_a_change_is_not_worked_out_again(seen: SeenBook) -> None:
    worked: list[str] = []

    def great() -> int:
        worked.append("great")
        return sum(pipe.rank == "great.open8" for pipe in seen.pipe_states(1))

    def page() -> str:
        worked.append("page")
        return f"{seen.seen('great', great)} done, {len(seen.open_faults(1))} faults"

    assert seen.seen("page", page) == "0 done, 0 faults"
    seen.note_conditions(1, Conditions({"great": 17.0}, 0.5))
    assert seen.seen("page", page) == "0 done, 0 faults"
    assert worked == ["page", "great"]  # nothing that it rests on has changed
    tick(seen, 1)
    assert seen.seen("page", page) == "1 done, 0 faults"
    assert worked == ["page", "great", "great", "page"]
    seen.set_tick(Tick("other", 1, PipeRef("swell.oboe8", 1), "done", "", now(), "Phone"))
    seen.seen("page", page)
    assert worked[4:] == ["great"]  # its answer is the same: the page need not be drawn again
