"""What can be told of a book before it is opened: its form, how far it has come, whose it is.

Light on purpose: SQLite alone, so that a program may answer while SQLAlchemy still loads.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path

from walkboard.book import trouble
from walkboard.book.folder import APPLICATION_ID, DATABASE, HEAD_REVISION
from walkboard.errors import BookError

_HEADER_BYTES = 100  # of every SQLite database (sqlite.org/fileformat, 1.3)


@dataclass(frozen=True, slots=True)
class Glance:
    """A book as it lies there.

    Attributes
    ----------
    revision : str
        The form of its tables.
    stamp : str
        Equal stamps, equal records of the same file; a copy of a book has another. Empty where the
        book is of an older form.
    organs : tuple of (int, str)
        Number and name of each organ, by number.
    """

    revision: str
    stamp: str
    organs: tuple[tuple[int, str], ...]


def glance(path: Path) -> Glance:
    """Look at a book without opening it, and without changing a byte of its folder.

    Parameters
    ----------
    path : Path
        The book's folder.

    Raises
    ------
    BookError
        When there is no book, or it is damaged.
    """
    path = path.absolute()
    with _peeking(path) as connection:
        revision = _revision(connection, path)
        if revision != HEAD_REVISION:
            return Glance(revision, "", ())
        # Of the row that the largest version stands in (sqlite.org/lang_select, 2.5).
        organs = connection.execute(
            "SELECT organ_id, name, max(version) FROM description GROUP BY organ_id ORDER BY 1"
        ).fetchall()
        named = tuple((number, name) for number, name, _ in organs)
        return Glance(revision, _stamp(connection, path), named)


def revision_of(path: Path) -> str:
    """The form of a book's tables; raises as `glance` does."""
    path = path.absolute()
    with _peeking(path) as connection:
        return _revision(connection, path)


@contextmanager
def _peeking(book: Path) -> Iterator[sqlite3.Connection]:
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
        with closing(sqlite3.connect(f"{database.as_uri()}?{mode}", uri=True)) as connection:
            yield connection
    except sqlite3.Error as error:
        raise trouble.of_sqlite(error, book) from error
    except OSError as error:
        raise trouble.of_disk(error, book) from error


def _revision(connection: sqlite3.Connection, book: Path) -> str:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION_ID:
        raise BookError(
            f"The {DATABASE} in this folder is a database of some other program.",
            where=str(book),
            fix="Name the folder of a book.",
        )
    revisions = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    if len(revisions) != 1:
        raise trouble.of_code(sqlite3.SQLITE_CORRUPT, book)
    return str(revisions[0][0])


def _stamp(connection: sqlite3.Connection, book: Path) -> str:
    """How far every table has come.

    Rows are only ever added, but that the closing of a visit is written into its row
    (`walkboard.book.models`): so the newest row of each table and the number of closed visits tell
    every change. The number of the file in its file system tells one book from its copy.
    """
    file = (book / DATABASE).stat()
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    ).fetchall()
    state: list[object] = [HEAD_REVISION, file.st_dev, file.st_ino]
    asked = [f'(SELECT max(rowid) FROM "{name}")' for (name,) in tables]  # noqa: S608 - of its own
    asked.append("(SELECT count(closed_at) FROM visit)")
    # One statement, so that it sees one state of the book whoever writes meanwhile.
    state += connection.execute(f"SELECT {', '.join(asked)}").fetchone()
    return hashlib.sha256(repr(state).encode()).hexdigest()


def _refuse_no_book(book: Path, database: Path) -> None:
    if not book.exists():
        what, fix = "There is no book here.", "Check the path, or make a new book."
    elif not book.is_dir():
        what, fix = "This is a file; a book is a folder.", "Name the folder that holds the book."
    elif not database.is_file():
        what = f"This folder is no book: it has no {DATABASE}."
        fix = "Check the path, or make a new book."
    else:
        return
    raise BookError(what, where=str(book), fix=fix)
