"""The check tells all that is wrong, and nothing that is not."""

import os
import sqlite3
from contextlib import closing
from datetime import timedelta
from pathlib import Path

from tests.book.making import MORNING, VERSION, a_plan, a_sound, a_walk
from walkboard.book.folder import DATABASE, INCOMING
from walkboard.book.keeping import Book
from walkboard.book.records import KeptVisit


def alter(book: Book, *statements: str) -> None:
    with closing(sqlite3.connect(book.path / DATABASE)) as connection, connection:
        for statement in statements:
            connection.execute(statement)


def test_a_whole_book_has_no_problem(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
    book.keep_recording(visit.id, a_sound(tmp_path), a_walk(), program_version=VERSION)
    book.keep_plan(visit.id, a_plan())
    assert book.check() == ()


def test_everything_wrong_is_told_at_once(book: Book, visit: KeptVisit, tmp_path: Path) -> None:
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
    told = {(problem.where.split("/")[-1][:8], problem.what) for problem in book.check()}
    assert told == {
        (f"{first.sha256[:8]}", "The file of a recording is missing."),
        (f"{second.sha256[:8]}", "The file of a recording has changed."),
        ("abababab", "This recording belongs to no visit."),
        ("notes.tx", "This file is none of the book's."),
        ("book.sql", "It names a row of description that is not there."),
        (
            "book.sql",
            "A record cannot be read (JSONDecodeError: Expecting value: line 1 column 1 (char 0)).",
        ),
        (
            "book.sql",
            f"A record cannot be read ({no_version}).",
        ),
    }
    assert all(problem.mend for problem in book.check())


def test_an_old_unfinished_copy_is_told_and_swept_and_a_young_one_left(
    book: Book, visit: KeptVisit
) -> None:
    incoming = book.sounds.path / INCOMING
    incoming.mkdir()
    old, young = incoming / "old.part", incoming / "young.part"
    for path, at in ((old, MORNING - timedelta(days=2)), (young, MORNING)):
        path.write_bytes(b"half a wal")
        os.utime(path, (at.timestamp(), at.timestamp()))
    assert [problem.where for problem in book.check()] == ["recordings/.incoming/old.part"]
    assert book.sweep() == 1
    assert list(incoming.iterdir()) == [young]
    assert book.check() == ()
    assert book.visit(visit.id) == visit
