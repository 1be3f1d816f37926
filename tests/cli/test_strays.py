"""Which organs have pipes far off, by the command line."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, PRINCIPAL, VERSION, a_hold, a_reading, a_sound, a_walk
from tests.commands import Run
from walkboard.book.records import Tick, TickState
from walkboard.organ.model import PipeRef
from walkboard.work import open_book


@pytest.fixture
def firm(tmp_path: Path) -> Path:
    """Three organs: two pipes off, one pipe off, none."""
    with open_book.new(tmp_path / "book") as book:
        for name, cents in (
            ("Harbour Hall", (9.0, -6.5, 1.0)), ("Mill chapel", (0.5, 7.25)), ("School", (0.2,)),
        ):  # fmt: skip
            visit = book.open_visit(book.add_organ(name, DESCRIPTION).id, "spring")
            holds = [a_hold(n, a_reading(n, cents=c)) for n, c in enumerate(cents, start=1)]
            sound = a_sound(tmp_path, content=name.encode())
            book.keep_recording(visit.id, sound, a_walk(*holds), program_version=VERSION)
    return tmp_path / "book"


def test_organs_with_pipes_far_off_are_listed_the_most_first(run: Run, firm: Path) -> None:
    ran = run("book", "strays", firm)
    assert ran.code == 0
    lines = [line.split() for line in ran.out.splitlines()]
    listed = [line for line in lines if line and line[0] in {"Harbour", "Mill", "School"}]
    assert [line[:5] for line in listed] == [
        ["Harbour", "Hall", "2", f"{PRINCIPAL}:1", "+9.0"],
        ["Mill", "chapel", "1", f"{PRINCIPAL}:2", "+7.2"],
    ]
    assert "No pipe" in run("book", "strays", firm, "--over", "20").err


def test_the_pipes_of_one_organ_without_those_tuned_since(run: Run, firm: Path) -> None:
    ran = run("book", "strays", firm, "--organ", "harbour hall")
    assert f"{PRINCIPAL}:1" in ran.out
    assert "-6.50" in ran.out
    with open_book.opened(firm) as book:
        at = datetime.now(UTC) + timedelta(seconds=1)
        book.set_tick(Tick("t", 1, PipeRef(PRINCIPAL, 1), TickState.DONE.value, "", at))
    ran = run("book", "strays", firm, "--organ", "harbour hall")
    assert f"{PRINCIPAL}:1" not in ran.out
    assert "-6.50" in ran.out
