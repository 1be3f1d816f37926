"""A book that remembers: no answer is older than anything it depends on."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import copy_context
from datetime import UTC, datetime
from pathlib import Path

import pytest
from sqlalchemy import event

from walkboard.book.cache import remembering
from walkboard.book.cache.seen import SeenBook, open_seen
from walkboard.book.keeping import Book
from walkboard.book.records import Conditions, FaultKind, Tick
from walkboard.book.rows.changes import Changes
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


@contextmanager
def statements(book: SeenBook) -> Iterator[list[str]]:
    """What the book asks its database meanwhile."""
    asked: list[str] = []

    def note(_c: object, _u: object, statement: str, *_rest: object) -> None:
        asked.append(statement)

    event.listen(book._engine, "before_cursor_execute", note)
    try:
        yield asked
    finally:
        event.remove(book._engine, "before_cursor_execute", note)


@pytest.fixture
def firm(seen: SeenBook) -> SeenBook:
    """Six organs, each with an open visit."""
    for number in range(2, 7):
        description = examples.village().replace('name = "', f'name = "{number} ', 1)
        kept = seen.add_organ(read_organ(description).name, description)
        seen.open_visit(kept.id, "Spring tuning")
    return seen


def page(book: SeenBook, organ_id: int) -> object:
    """All that many pages ask of one organ."""

    def work_out() -> tuple[object, ...]:
        return (
            book.organ(organ_id), book.events(organ_id), book.weights(organ_id),
            book.open_faults(organ_id), book.visit_summaries(organ_id),
            [(book.readings(v.id), book.pipe_states(v.id), book.current_plan(v.id))
             for v in book.visits(organ_id)],
        )  # fmt: skip

    return book.seen(("page", organ_id), work_out)


def questions(asked: list[str]) -> list[str]:
    """Without asking a server whether anything has changed, which a file shows by itself."""
    return [s for s in asked if s.startswith("SELECT") and "pg_current_snapshot" not in s]


def test_a_tick_on_one_organ_keeps_the_answers_of_the_others(firm: SeenBook) -> None:
    for organ_id in range(1, 7):
        page(firm, organ_id)
    tick(firm, 1)
    with statements(firm) as asked, firm.one_moment():
        for organ_id in range(2, 7):
            page(firm, organ_id)
    assert len(questions(asked)) == 1, "the counters of all organs"
    with statements(firm) as asked, firm.one_moment():
        page(firm, 1)
    assert 0 < len(questions(asked)) <= 7, "marks, ticks, and the four questions of the summaries"


def test_within_one_moment_the_book_is_looked_at_once(
    firm: SeenBook, monkeypatch: pytest.MonkeyPatch
) -> None:
    looks: list[int] = []
    look = Changes.change

    def looking(book: Changes) -> int:
        looks.append(1)
        return look(book)

    monkeypatch.setattr(Changes, "change", looking)
    monkeypatch.setattr(remembering, "monotonic", lambda: 0.0)  # a moment lasts at most a second
    with firm.one_moment():
        for organ_id in (1, 2, 3):
            page(firm, organ_id)
            firm.search("spring")
        assert len(looks) == 1
        tick(firm, 2)  # what this program writes shows at once
        assert PipeRef("great.open8", 2) in firm.pipe_states(1)
        assert len(looks) == 2


def test_a_task_that_outlives_its_request_sees_what_is_new(firm: SeenBook) -> None:
    with firm.one_moment():
        firm.pipe_states(1)
        within = copy_context()
    with open_book.opened(firm.path) as other:
        tick(other, 3)
    assert within.run(lambda: len(firm.pipe_states(1))) == 1
