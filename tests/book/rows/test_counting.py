"""Counters of changes: every table, whichever program writes; not what was rolled back."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from tests.book.making import DESCRIPTION, Clock, old_tables
from walkboard.book import create_book, open_book
from walkboard.book.files.folder import DATABASE
from walkboard.book.models import fact_tables
from walkboard.book.rows.counting import (
    COUNTED,
    NOT_COUNTED,
    OF_A_VISIT,
    Counted,
    Part,
    wanted_triggers,
)

ORGANS = (1, 2)
WORDS = {"state": "done", "kind": "again", "sha256": "sound"}

pytestmark = pytest.mark.sqlite


def columns_of(database: sqlite3.Connection, table: str) -> list[tuple[str, str, bool]]:
    found = database.execute(f"PRAGMA table_info({table})").fetchall()
    return [(name, kind, bool(needed)) for _, name, kind, needed, *_ in found]


def insert(database: sqlite3.Connection, table: str, organ: int) -> None:
    """The row of an organ: its id, and those of the rows it names, are the organ's number."""
    values: dict[str, object] = {}
    for name, kind, needed in columns_of(database, table):
        if name == "id" or (name.endswith("_id") and name != "supersedes_id"):
            values[name] = organ
        elif needed:
            values[name] = WORDS.get(name, f"word {organ}") if kind == "TEXT" else organ
    names = ", ".join(f'"{name}"' for name in values)
    marks = ", ".join("?" * len(values))
    database.execute(f"INSERT INTO {table} ({names}) VALUES ({marks})", list(values.values()))


@pytest.fixture
def database(folder: Path) -> Iterator[sqlite3.Connection]:
    """A book that another program fills: two organs with one row each in every table."""
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as connection:
        connection.execute("BEGIN")
        for one in COUNTED:
            for organ in ORGANS:
                insert(connection, one.table, organ)
        connection.execute("COMMIT")
        connection.execute("BEGIN")  # saves a wait for the disk at each statement
        yield connection


def counters(database: sqlite3.Connection, table: str) -> dict[tuple[int, str], int]:
    names = [name for name, *_ in columns_of(database, table) if not name.endswith("_id")]
    key = "visit_id" if table == "visit_change" else "organ_id"
    return {
        (row[0], name): number
        for row in database.execute(f"SELECT {key}, {', '.join(names)} FROM {table}")
        for name, number in zip(names, row[1:], strict=True)
    }


def test_every_table_is_counted_or_named_as_of_no_organ() -> None:
    counted = [one.table for one in COUNTED]
    assert len(counted) == len(set(counted))
    assert {*counted} | NOT_COUNTED == {table.name for table in fact_tables()}
    assert not {*counted} & NOT_COUNTED


@pytest.mark.parametrize("one", COUNTED, ids=lambda one: one.table)
def test_a_change_counts_for_its_organ_and_visit_alone(
    database: sqlite3.Connection, one: Counted
) -> None:
    database.execute(f"DELETE FROM {one.table} WHERE id = 1")
    (column, *_) = [name for name, *_ in columns_of(database, one.table) if name != "id"]
    for statement in (
        None,
        f'UPDATE {one.table} SET "{column}" = "{column}" WHERE id = 1',
        f"DELETE FROM {one.table} WHERE id = 1",
    ):
        before = counters(database, "organ_change"), counters(database, "visit_change")
        if statement is None:
            insert(database, one.table, 1)
        else:
            database.execute(statement)
        after = counters(database, "organ_change"), counters(database, "visit_change")
        assert changed(before[0], after[0]) == {(1, one.part.value)}
        of_visit = {(1, one.part.value)} if one.part in OF_A_VISIT else set()
        assert changed(before[1], after[1]) == of_visit


def changed(
    before: dict[tuple[int, str], int], after: dict[tuple[int, str], int]
) -> set[tuple[int, str]]:
    assert all(after[key] >= before.get(key, 0) for key in after)
    return {key for key in after if after[key] != before.get(key)}


def test_a_row_that_moves_to_another_organ_counts_for_both(database: sqlite3.Connection) -> None:
    before = counters(database, "organ_change")
    database.execute("UPDATE fault SET organ_id = 2 WHERE id = 1")
    assert changed(before, counters(database, "organ_change")) == {(1, "faults"), (2, "faults")}
    database.execute("UPDATE visit SET closed_at = opened_at WHERE id = 2")  # one open an organ
    database.execute("UPDATE visit SET organ_id = 2 WHERE id = 1")
    database.execute("UPDATE tick SET note = 'of the other organ now' WHERE id = 1")
    moved = changed(before, counters(database, "organ_change"))
    assert moved >= {(1, "visits"), (2, "visits"), (2, "ticks")}
    assert (1, "ticks") not in moved


def test_what_is_rolled_back_does_not_count(database: sqlite3.Connection) -> None:
    before = counters(database, "organ_change")
    database.execute("SAVEPOINT here")
    database.execute("UPDATE tick SET note = 'never kept'")
    assert counters(database, "organ_change") != before
    database.execute("ROLLBACK TO here")
    assert counters(database, "organ_change") == before


def test_a_migrated_book_counts_as_a_new_one(folder: Path, old_folder: Path, clock: Clock) -> None:
    open_book(old_folder, clock=clock).close()
    with closing(sqlite3.connect(old_folder / DATABASE)) as migrated:
        assert counters(migrated, "organ_change")[3, Part.TICKS.value] == 1
        assert counters(migrated, "visit_change")[7, Part.TICKS.value] == 1
        with closing(sqlite3.connect(folder / DATABASE)) as new:
            assert triggers(migrated) == triggers(new)
    assert {name for name, _ in triggers_of(folder)} == {*wanted_triggers()}


@pytest.fixture
def old_folder(tmp_path: Path) -> Path:
    """A book of the version before there were counters, with organ 3 and its visit 7."""
    folder = tmp_path / "old"
    (folder / "recordings").mkdir(parents=True)
    old_tables(folder, "0011")
    at = "2031-03-01T09:00:00.000000+00:00"
    with closing(sqlite3.connect(folder / DATABASE)) as connection, connection:
        connection.execute("INSERT INTO organ VALUES (3, ?)", (at,))
        connection.execute(
            "INSERT INTO description VALUES (1, 3, 1, 'Harbour Hall', ?, ?)", (DESCRIPTION, at)
        )
        connection.execute("INSERT INTO visit VALUES (7, 3, 1, 'spring', 90.0, ?, NULL, '')", (at,))
    return folder


def triggers(connection: sqlite3.Connection) -> list[tuple[str, str]]:
    asked = "SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' ORDER BY name"
    return connection.execute(asked).fetchall()


def triggers_of(folder: Path) -> list[tuple[str, str]]:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        return triggers(connection)


def test_a_book_without_its_triggers_is_reported(folder: Path, clock: Clock) -> None:
    with closing(sqlite3.connect(folder / DATABASE)) as connection:
        connection.execute("DROP TRIGGER count_change_tick_insert")
    with open_book(folder, clock=clock) as book:
        (problem,) = book.check()
    assert "count_change_tick_insert" in problem.what


def test_counters_are_not_exported(tmp_path: Path) -> None:
    with create_book(tmp_path / "book", clock=Clock()) as book:
        book.add_organ("Harbour Hall", DESCRIPTION)
        book.export_json(tmp_path / "book.json")
    assert "organ_change" not in (tmp_path / "book.json").read_text(encoding="utf-8")
