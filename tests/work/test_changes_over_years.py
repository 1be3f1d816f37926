"""Drift follows pipes, not names: over a rank replaced, moved or revoiced no line is drawn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from tests.survey.organs import SMALL
from tests.work.chapel import chapel_book
from walkboard.book.opening import open_book
from walkboard.organ.reading import read_organ
from walkboard.work.open_book import now
from walkboard.work.outlook import past_visit
from walkboard.work.overview import earlier_readings
from walkboard.work.snapshot import opened_to_see


def heard(folder: Path, description: str) -> dict[str, int]:
    """How many pipes of each rank a visit of this year says something of, for drift."""
    chapel_book(folder)
    with open_book(folder, clock=now) as book:
        (visit,) = book.visits(1)
        found = past_visit(book, read_organ(description), visit)
    counts: dict[str, int] = {}
    for pipe in found.heard:
        counts[pipe.pipe.rank] = counts.get(pipe.pipe.rank, 0) + 1
    return counts


def changed(what: str, year: int, name: str = "great.octave4") -> str:
    was = ', was = "great.octave4"' if what == "moved" else ""
    change = f'changes = [{{year = {year}, what = "{what}"{was}}}]'
    there = SMALL.replace('"great.octave4"', f'"{name}"')
    return there.replace(f'id = "{name}"', f'id = "{name}"\n{change}', 1)


@pytest.mark.parametrize("what", ["replaced", "revoiced"])
def test_readings_from_before_say_nothing_of_the_rank_since(tmp_path: Path, what: str) -> None:
    before = heard(tmp_path / "before", SMALL)
    after = heard(tmp_path / "after", changed(what, 2999))
    assert before["great.octave4"] > 40
    assert "great.octave4" not in after
    assert after["great.principal8"] == before["great.principal8"]


def test_a_change_of_an_earlier_year_changes_nothing(tmp_path: Path) -> None:
    same = heard(tmp_path / "same", changed("replaced", 1971))
    assert same == heard(tmp_path / "before", SMALL)


def test_a_moved_rank_takes_its_readings_along(tmp_path: Path) -> None:
    found = heard(tmp_path, changed("moved", 2999, name="great.superoctave"))
    assert found["great.superoctave"] > 40
    assert "great.octave4" not in found


@pytest.mark.parametrize(
    ("what", "rank", "seen"),
    [
        ("replaced", "great.octave4", False),
        ("revoiced", "great.octave4", False),
        ("moved", "great.superoctave", True),
    ],
)
def test_the_rank_page_compares_with_the_same_pipes_only(
    tmp_path: Path, what: str, rank: str, seen: bool
) -> None:
    chapel_book(tmp_path)
    with opened_to_see(tmp_path) as book:
        (visit,) = book.visits(1)
        kept = replace(book.organ(1), description=changed(what, 2999, name=rank), version=2)
        found = earlier_readings(book, kept, rank, replace(visit, id=visit.id + 1))
    assert bool(found) == seen
    for _, readings in found:
        assert {pipe.rank for pipe in readings} == {rank}
        assert len(readings) > 40
