"""Opens a book, or says why it cannot be opened before changing anything in it.

Light to import: SQLAlchemy loads when a book is opened, Alembic only when one is made or migrated.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.database.address import checked, names_server, write_address
from walkboard.book.files import trouble
from walkboard.book.files.folder import (
    ADDRESS,
    DATABASE,
    HEAD_REVISION,
    RECORDINGS,
    WAIT_S,
    Clock,
    building,
    is_writable,
)
from walkboard.book.glance import revision_of
from walkboard.errors import BookError

if TYPE_CHECKING:
    from walkboard.book.database.dialect import Database
    from walkboard.book.keeping import Book


def create_book(
    path: Path, *, clock: Clock, address: str | None = None, wait_s: float = WAIT_S
) -> Book:
    """Make a new, empty book and open it.

    Parameters
    ----------
    path : Path
        Its folder: must not exist, or be empty.
    clock : callable
        Returns the current time, time-zone aware.
    address : str or None
        An empty PostgreSQL database for its records, ``postgresql://USER@HOST/DATABASE``; None: a
        file in the folder.
    wait_s : float
        How long a writer waits for another program to finish [s].

    Raises
    ------
    BookError
        When something is there already, or the folder or the database cannot be written.
    """
    from walkboard.book.migrating import build_tables  # noqa: PLC0415 - loads SQLAlchemy, Alembic

    path = path.absolute()
    with building(path) as part, filling(part, address) as database:
        (part / RECORDINGS).mkdir()
        build_tables(database)
    return open_book(path, clock=clock, wait_s=wait_s)


def connect_book(path: Path, address: str, *, clock: Clock, wait_s: float = WAIT_S) -> Book:
    """Make another folder for a book that is in a PostgreSQL database already, and open it.

    Parameters
    ----------
    path : Path
        Its folder: must not exist, or be empty. Recordings that were taken in from other folders
        are not in it until they are copied there.
    address : str
        As for `create_book`.
    clock : callable
        Returns the current time, time-zone aware.
    wait_s : float
        How long a writer waits for another program to finish [s].

    Raises
    ------
    BookError
        When the folder is not empty or cannot be written, or the database holds no book.
    """
    path = path.absolute()
    with building(path) as part:
        write_address(part, checked(address))
        (part / RECORDINGS).mkdir()
        revision_of(part)
    return open_book(path, clock=clock, wait_s=wait_s)


@contextmanager
def filling(part: Path, address: str | None) -> Iterator[Database]:
    """The database of a book being made in a folder; cleared again if making it fails.

    Parameters
    ----------
    part : Path
        The folder.
    address : str or None
        As for `create_book`.
    """
    from walkboard.book.database.choosing import database_of  # noqa: PLC0415 - loads SQLAlchemy

    if address is not None:
        write_address(part, checked(address))
    database = database_of(part)
    database.create()  # refuses one that is not empty, which must not be cleared below
    try:
        yield database
    except BaseException:
        database.clear()
        raise


def open_book(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> Book:
    """Open a book; an older one is backed up and migrated first.

    Parameters
    ----------
    path : Path
        Its folder.
    clock : callable
        Returns the current time, time-zone aware.
    wait_s : float
        How long a writer waits for another program to finish [s].

    Raises
    ------
    BookError
        If there is no book, it is damaged, newer than this program, or cannot be written; it is
        then unchanged.
    """
    path = path.absolute()
    revision = revision_of(path)
    marker = path / (ADDRESS if names_server(path) else DATABASE)
    if not (is_writable(path) and is_writable(marker)):
        raise trouble.of_code(sqlite3.SQLITE_READONLY, path)
    if revision != HEAD_REVISION:
        from walkboard.book.migrating import bring_up, known_revisions  # noqa: PLC0415 - Alembic

        if revision not in known_revisions():
            raise BookError(
                f"This book has a newer version ({revision}) than this program knows"
                f" ({HEAD_REVISION}).",
                where=str(path),
                fix="Open it with a newer version of the program; nothing in it was changed.",
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
