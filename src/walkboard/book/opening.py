"""Opens a book, or says clearly why it cannot be opened, before anything in it is touched.

Light to import: SQLAlchemy loads when a book is opened, Alembic only when one is made or migrated.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book import trouble
from walkboard.book.folder import (
    APPLICATION_ID,
    DATABASE,
    HEAD_REVISION,
    RECORDINGS,
    WAIT_S,
    Clock,
    building,
    is_writable,
)
from walkboard.errors import BookError

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

_HEADER_BYTES = 100  # of every SQLite database (sqlite.org/fileformat, 1.3)


def create_book(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> Book:
    """Make a new, empty book and open it.

    Parameters
    ----------
    path : Path
        Its folder: not there yet, or empty.
    clock : callable
        Gives the present instant, time-zone aware.
    wait_s : float
        How long a writer waits for another program to finish [s].

    Raises
    ------
    BookError
        When something is there already, or the folder cannot be written.
    """
    from walkboard.book.migrating import build_database  # noqa: PLC0415 - loads SQLAlchemy, Alembic

    path = path.absolute()
    with building(path) as part:
        build_database(part / DATABASE)
        (part / RECORDINGS).mkdir()
    return open_book(path, clock=clock, wait_s=wait_s)


def open_book(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> Book:
    """Open a book; one of an older form is migrated first, with a copy put aside.

    Parameters
    ----------
    path : Path
        Its folder.
    clock : callable
        Gives the present instant, time-zone aware.
    wait_s : float
        How long a writer waits for another program to finish [s].

    Raises
    ------
    BookError
        When there is no book, it is damaged, of a newer form, or cannot be written; it is then
        left as it was.
    """
    path = path.absolute()
    revision = _revision_of(path)
    if not (is_writable(path) and is_writable(path / DATABASE)):
        raise trouble.of_code(sqlite3.SQLITE_READONLY, path)
    if revision != HEAD_REVISION:
        from walkboard.book.migrating import bring_up, known_revisions  # noqa: PLC0415 - Alembic

        if revision not in known_revisions():
            raise BookError(
                f"This book is of a newer form ({revision}) than this program knows"
                f" ({HEAD_REVISION}).",
                where=str(path),
                mend="Open it with a newer version of the program; nothing in it was touched.",
            )
        bring_up(path, wait_s=wait_s)
    from walkboard.book.keeping import Book  # noqa: PLC0415 - loads SQLAlchemy

    book = Book(path, clock=clock, wait_s=wait_s)
    try:
        book.refuse_damage()
    except BaseException:
        book.close()
        raise
    return book


def _revision_of(book: Path) -> str:
    """The form of a book's tables, read without changing a byte of its folder."""
    database = book / DATABASE
    _refuse_no_book(book, database)
    try:
        # Never read as a plain file: to close that would drop the locks of every connection that
        # this process has on it (sqlite.org/howtocorrupt, 2.2), and another program that closes
        # the book would then take away the -wal that they still read.
        if database.stat().st_size < _HEADER_BYTES:
            raise trouble.of_code(sqlite3.SQLITE_NOTADB, book)
        # Even a reader makes a -wal and a -shm file beside the database, unless it may take the
        # file for one that nobody changes. What it then cannot see is what only the -wal holds.
        wal = database.with_name(f"{DATABASE}-wal")
        mode = "mode=ro" if wal.exists() and wal.stat().st_size else "immutable=1"
        uri = f"{database.as_uri()}?{mode}"
        with closing(sqlite3.connect(uri, uri=True)) as connection:
            (application,) = connection.execute("PRAGMA application_id").fetchone()
            if application != APPLICATION_ID:
                raise BookError(
                    f"The {DATABASE} in this folder is a database of some other program.",
                    where=str(book),
                    mend="Name the folder of a book.",
                )
            revisions = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    except sqlite3.Error as error:
        raise trouble.of_sqlite(error, book) from error
    except OSError as error:
        raise trouble.of_disk(error, book) from error
    if len(revisions) != 1:
        raise trouble.of_code(sqlite3.SQLITE_CORRUPT, book)
    return str(revisions[0][0])


def _refuse_no_book(book: Path, database: Path) -> None:
    if not book.exists():
        what, mend = "There is no book here.", "Check the path, or make a new book."
    elif not book.is_dir():
        what, mend = "This is a file; a book is a folder.", "Name the folder that holds the book."
    elif not database.is_file():
        what = f"This folder is no book: it has no {DATABASE}."
        mend = "Check the path, or make a new book."
    else:
        return
    raise BookError(what, where=str(book), mend=mend)
