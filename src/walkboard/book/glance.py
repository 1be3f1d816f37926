"""What can be seen of a book before it is opened: its version, its state, its organs.

Light on purpose: only SQLite, so that a program can answer while SQLAlchemy still loads.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.database.address import names_server, read_address
from walkboard.book.files import trouble
from walkboard.book.files.folder import (
    ADDRESS,
    APPLICATION_ID,
    DATABASE,
    HEAD_REVISION,
    refuse_address,
)
from walkboard.errors import BookError

if TYPE_CHECKING:
    from walkboard.book.database.postgresql import PostgresqlDatabase

_HEADER_BYTES = 100  # of every SQLite database (sqlite.org/fileformat, 1.3)


@dataclass(frozen=True, slots=True)
class Glance:
    """A book on disk, not opened.

    Attributes
    ----------
    revision : str
        The version of its tables.
    stamp : str
        Equal stamps mean equal records of the same file; a copy of a book has another stamp. Empty
        if the book has an older version.
    organs : tuple of (int, str)
        Number and name of each organ, by number.
    """

    revision: str
    stamp: str
    organs: tuple[tuple[int, str], ...]


def glance(path: Path) -> Glance:
    """Look at a book without opening it or changing a byte of its folder.

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
    if names_server(path):
        revision, state, named = _server(path).glance()
        stamp = "" if revision != HEAD_REVISION else _hash([*_file_of(path / ADDRESS), *state])
        return Glance(revision, stamp, named)
    with _peeking(path) as connection:
        revision = _revision(connection, path)
        if revision != HEAD_REVISION:
            return Glance(revision, "", ())
        # Taken from the row with the largest version (sqlite.org/lang_select, 2.5).
        organs = connection.execute(
            "SELECT organ_id, name, max(version) FROM description GROUP BY organ_id ORDER BY 1"
        ).fetchall()
        named = tuple((number, name) for number, name, _ in organs)
        return Glance(revision, _stamp(connection, path), named)


def revision_of(path: Path) -> str:
    """The version of a book's tables; raises as `glance` does."""
    path = path.absolute()
    if names_server(path):
        return _server(path).revision()
    with _peeking(path) as connection:
        return _revision(connection, path)


def _server(book: Path) -> PostgresqlDatabase:
    from walkboard.book.database.postgresql import PostgresqlDatabase  # noqa: PLC0415 - its driver

    return PostgresqlDatabase(book, read_address(book))


@contextmanager
def _peeking(book: Path) -> Iterator[sqlite3.Connection]:
    database = book / DATABASE
    _refuse_no_book(book, database)
    try:
        # Never read as a plain file: closing it would drop the locks of every connection of this
        # process (sqlite.org/howtocorrupt, 2.2), and another program that closes the book would
        # then remove the -wal that they still read.
        if database.stat().st_size < _HEADER_BYTES:
            raise trouble.of_code(sqlite3.SQLITE_NOTADB, book)
        # Even a reader creates a -wal and a -shm file beside the database, unless the file is
        # declared immutable. Then it does not see what only the -wal holds.
        wal = database.with_name(f"{DATABASE}-wal")
        mode = "mode=ro" if wal.exists() and wal.stat().st_size else "immutable=1"
        with closing(sqlite3.connect(f"{database.as_uri()}?{mode}", uri=True)) as connection:
            yield connection
    except UnicodeDecodeError as error:  # a damaged text, perhaps in SQLite's own message
        raise trouble.of_code(trouble.CORRUPT, book) from error
    except sqlite3.Error as error:
        raise trouble.of_sqlite(error, book) from error
    except OSError as error:
        raise trouble.of_disk(error, book) from error


def _revision(connection: sqlite3.Connection, book: Path) -> str:
    (application,) = connection.execute("PRAGMA application_id").fetchone()
    if application != APPLICATION_ID:
        raise BookError(
            f"The {DATABASE} in this folder belongs to another program.",
            where=str(book),
            fix="Name the folder of a book.",
        )
    revisions = connection.execute("SELECT version_num FROM alembic_version").fetchall()
    if len(revisions) != 1:
        raise trouble.of_code(sqlite3.SQLITE_CORRUPT, book)
    return str(revisions[0][0])


def _stamp(connection: sqlite3.Connection, book: Path) -> str:
    """The state of every table.

    Rows are only ever added, except that closing a visit writes to its row
    (`walkboard.book.models`), so the newest row of each table and the number of closed visits show
    every change. The file's inode distinguishes a book from its copy.
    """
    tables = connection.execute(
        "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
    ).fetchall()
    state: list[object] = _file_of(book / DATABASE)
    asked = [f'(SELECT max(rowid) FROM "{name}")' for (name,) in tables]  # noqa: S608 - of its own
    asked.append("(SELECT count(closed_at) FROM visit)")
    # One statement, so that it sees one state of the book even if someone writes meanwhile.
    state += connection.execute(f"SELECT {', '.join(asked)}").fetchone()
    return _hash(state)


def _file_of(marker: Path) -> list[object]:
    file = marker.stat()
    return [HEAD_REVISION, file.st_dev, file.st_ino]


def _hash(state: list[object]) -> str:
    return hashlib.sha256(repr(state).encode()).hexdigest()


def _refuse_no_book(book: Path, database: Path) -> None:
    refuse_address(book)
    if not book.exists():
        what, fix = "There is no book here.", "Check the path, or create a new book."
    elif not book.is_dir():
        what, fix = "This is a file; a book is a folder.", "Name the folder that holds the book."
    elif not database.is_file():
        what = f"This folder is not a book: it has no {DATABASE}."
        fix = "Check the path, or create a new book."
    else:
        return
    raise BookError(what, where=str(book), fix=fix)
