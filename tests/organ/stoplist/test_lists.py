"""Forty invented stop lists in six traditions, typed as people type, and what each line means."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.organ.stoplist.expected import LISTS, agrees, described, meaning, typed
from walkboard.organ.reading import read_organ
from walkboard.organ.stoplist.entries import Row, Said, State

LEAST_RIGHT = 0.95  # of all lines; the aim that the program was built for


def judged(path: Path) -> list[tuple[Row, str, bool]]:
    """Each line's row, what it means, and whether the program says so."""
    given = typed(path)
    by_line: dict[int, list[Row]] = {}
    for row in described(path).rows:
        by_line.setdefault(row.line.number, []).append(row)
    return [
        (by_line[number][-1], meant, agrees(meaning(by_line[number][-1]), meant))
        for number, meant in enumerate(given.meanings, 1)
    ]


SINGLE = [path for path in LISTS if path.stem != "web-table"]  # its lines are three columns


def test_there_are_forty_lists_of_four_to_over_a_hundred_stops() -> None:
    assert len(LISTS) == 40
    sizes = [sum(row.stop is not None for row in described(path).rows) for path in LISTS]
    assert min(sizes) <= 4
    assert max(sizes) == 120


def test_nearly_every_line_is_right() -> None:
    results = [right for path in SINGLE for _, _, right in judged(path)]
    assert len(results) > 700
    assert sum(results) / len(results) >= LEAST_RIGHT


@pytest.mark.parametrize("path", SINGLE, ids=lambda path: path.stem)
def test_what_is_wrong_is_marked(path: Path) -> None:
    wrong = [
        f"{row.line.text}: {meaning(row)}, not {meant}"
        for row, meant, right in judged(path)
        if not right and row.state is State.UNDERSTOOD
    ]
    assert wrong == []


@pytest.mark.parametrize("path", LISTS, ids=lambda path: path.stem)
def test_no_line_is_dropped(path: Path) -> None:
    given = typed(path)
    rows = described(path).rows
    assert {row.line.number for row in rows} == set(range(1, len(given.meanings) + 1))
    for row in rows:
        assert row.state is not State.ASKED or row.question
        assert row.state is not State.GUESSED or any(not guess.usual for guess in row.guesses)


@pytest.mark.parametrize("path", LISTS, ids=lambda path: path.stem)
def test_the_description_is_right_and_holds_every_stop(path: Path) -> None:
    made = described(path)
    organ = read_organ(made.toml)
    stops = [row for row in made.rows if row.stop is not None]
    assert len(organ.stops) == len(stops)
    for row in stops:
        assert row.stop is not None
        assert organ.stop(made.ids[row.line.id]).division == row.stop.division
    for row in made.rows:
        assert row.said not in {Said.COUPLER, Said.TREMULANT, Said.TOY} or row.line.id in made.ids


@pytest.mark.parametrize("path", SINGLE, ids=lambda path: path.stem)
def test_a_borrowed_stop_uses_the_pipes_of_the_stop_meant(path: Path) -> None:
    given = typed(path)
    made = described(path)
    organ = read_organ(made.toml)
    by_line = {row.line.number: row for row in made.rows}
    for number, meant in enumerate(given.meanings, 1):
        if meant.startswith("X ") and meant != "X -":
            stop = organ.stop(made.ids[by_line[number].line.id])
            assert meant[2:] in stop.plays[0].rank


def test_divisions_side_by_side_are_read_column_by_column() -> None:
    rows = described(next(p for p in LISTS if p.stem == "web-table")).rows
    under = [(row.stop.division, row.stop.name) for row in rows if row.stop is not None]
    assert under[2:5] == [
        ("hauptwerk", "Oktave"),
        ("schwellwerk", "Gedackt"),
        ("schwellwerk", "Viola"),
    ]
    assert [row.division.keys for row in rows if row.division is not None] == [56, 56, 30]
