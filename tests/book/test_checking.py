"""The check reports everything wrong, and nothing else."""

import errno
import os
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

import pytest

from tests.book.making import MORNING, VERSION, a_plan, a_sound, a_walk
from walkboard.book.files.folder import DATABASE, INCOMING
from walkboard.book.files.leftovers import remove_leftovers
from walkboard.book.files.sounds import sha256_of
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit


def alter(book: Book, *statements: str) -> list[object]:
    found: list[object] = []
    with closing(sqlite3.connect(book.path / DATABASE)) as connection, connection:
        for statement in statements:
            found += [row[0] for row in connection.execute(statement)]
    return found


def test_a_whole_book_has_no_problem(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    book.keep_plan(visit.id, a_plan())
    assert book.check() == ()


@pytest.mark.sqlite
def test_everything_wrong_is_reported_at_once(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    for name in ("one", "two"):
        source = a_sound(tmp_path, f"{name}.flac", name.encode())
        book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    first, second = book.recordings(visit.id)
    book.sound_path(first.id).unlink()
    book.sound_path(second.id).write_bytes(b"changed")
    orphan = book.sounds.path / "ab" / f"{'ab' * 32}.flac"
    orphan.parent.mkdir(exist_ok=True)
    orphan.write_bytes(b"")
    (book.sounds.path / "notes.txt").write_text("mine")
    alter(book, "UPDATE visit SET description_id = 77", "UPDATE hold SET flags = 'no list'")

    no_version = "AttributeError: 'NoneType' object has no attribute 'version'"
    reported = {(problem.where.split("/")[-1][:8], problem.what) for problem in book.check()}
    assert reported == {
        (f"{first.sha256[:8]}", "The file of a recording is missing."),
        (f"{second.sha256[:8]}", "The file of a recording has changed."),
        ("abababab", "This recording belongs to no visit."),
        ("notes.tx", "This file does not belong to the book."),
        ("book.sql", "It names a row of description that does not exist."),
        (
            "book.sql",
            "A record cannot be read (JSONDecodeError: Expecting value: line 1 column 1 (char 0)).",
        ),
        (
            "book.sql",
            f"A record cannot be read ({no_version}).",
        ),
    }
    assert all(problem.fix for problem in book.check())


def test_an_old_unfinished_copy_is_reported_and_removed_and_a_new_one_left(
    book: Book, visit: KeptVisit
) -> None:
    incoming = book.sounds.path / INCOMING
    incoming.mkdir()
    old, young = incoming / "old.part", incoming / "young.part"
    for path, at in ((old, MORNING - timedelta(days=2)), (young, MORNING)):
        path.write_bytes(b"half a wal")
        os.utime(path, (at.timestamp(), at.timestamp()))
    assert [problem.where for problem in book.check()] == ["recordings/.incoming/old.part"]
    remove_leftovers(book.leftovers())
    assert list(incoming.iterdir()) == [young]
    assert book.check() == ()
    assert book.visit(visit.id) == visit


def test_recordings_that_cannot_be_read_do_not_end_the_check(
    book: Book, visit: KeptVisit, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("one", "two", "three"):
        source = a_sound(tmp_path, f"{name}.flac", name.encode())
        book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    paths = sorted(book.sound_path(r.id) for r in book.recordings(visit.id))
    bad, changed, _ = paths
    changed.write_bytes(b"changed")

    def read(path: Path) -> str:
        if path == bad:
            raise OSError(errno.EIO, "Input/output error", str(path))
        return sha256_of(path)

    monkeypatch.setattr("walkboard.book.checking.sha256_of", read)
    seen: list[tuple[float, float]] = []
    reported = {p.where: p.what for p in book.check(lambda done, total: seen.append((done, total)))}
    assert reported == {
        str(bad.relative_to(book.path)): (
            "The file of a recording cannot be read (Input/output error)."
        ),
        str(changed.relative_to(book.path)): "The file of a recording has changed.",
    }
    assert max(seen) == (11.0, 11.0)  # the bytes of all three
    assert sorted(seen) == seen


@pytest.mark.sqlite
def test_one_record_that_cannot_be_read_is_named_among_many(
    book: Book, visit: KeptVisit, tmp_path: Path
) -> None:
    for name in ("one", "two", "three"):
        source = a_sound(tmp_path, f"{name}.flac", name.encode())
        book.keep_recording(visit.id, source, a_walk(), program_version=VERSION)
    for table, column, value in (
        ("reading", "flags", '["odd"]'),
        ("reading", "either_hz", "[1.0]"),
        ("reading", "partial_levels_db", "[-20.0]"),
        ("reading", "partial_levels_db", "-20"),
        ("reading", "partial_numbers", "[NaN]"),
        ("hold", "flags", '["odd"]'),
        ("hearing", "silent_keys", '["H9"]'),
        ("hearing", "change", "odd"),
    ):
        row = f"SELECT max(id) FROM {table}"
        (was,) = alter(book, f"SELECT {column} FROM {table} WHERE id = ({row})")
        alter(book, f"UPDATE {table} SET {column} = '{value}' WHERE id = ({row})")
        (problem,) = book.check_records()
        assert problem.where == "book.sqlite, recording 3", (table, column)
        was = "NULL" if was is None else f"'{was}'"
        alter(book, f"UPDATE {table} SET {column} = {was} WHERE id = ({row})")
    assert book.check_records() == ()


@pytest.mark.sqlite
@pytest.mark.parametrize(
    ("change", "what"),
    [
        ("reading.cents = 'sharp'", "Its cents is not a number."),
        ("reading.hz = 9e999", "Its hz is not a number."),
        ("hold.start_s = -9e999", "Its start_s is not a number."),
        ("reading.rank = x'00ff'", "Its rank is not a text."),
        ("visit.minutes = 'an hour'", "Its minutes is not a number."),
        ("reading.cents = -3", ""),
    ],
)
def test_a_value_of_the_wrong_kind_is_found(
    book: Book, visit: KeptVisit, tmp_path: Path, change: str, what: str
) -> None:
    book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    table, setting = change.split(".")
    (row,) = alter(book, f"SELECT max(rowid) FROM {table}")
    alter(book, f"UPDATE {table} SET {setting} WHERE rowid = {row}")
    found = [(p.where, p.what) for p in book.check_records() if "cannot be read" not in p.what]
    assert found == ([(f"book.sqlite, {table} {row}", what)] if what else [])


def test_the_check_shows_how_far_it_is(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    book.keep_plan(visit.id, a_plan())
    seen: list[tuple[float, float]] = []
    assert book.check_records(lambda done, total: seen.append((done, total))) == ()
    assert sorted(seen) == seen
    assert len(seen) >= 4
    assert seen[-1] == (1.0, 1.0)
