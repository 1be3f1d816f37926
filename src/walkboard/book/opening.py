"""Opens a book, or says why it cannot be opened before changing anything in it.

Light to import: SQLAlchemy loads when a book is opened, Alembic only when one is made or migrated.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book import trouble
from walkboard.book.folder import (
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
    from walkboard.book.keeping import Book


def create_book(path: Path, *, clock: Clock, wait_s: float = WAIT_S) -> Book:
    """Make a new, empty book and open it.

    Parameters
    ----------
    path : Path
        Its folder: must not exist, or be empty.
    clock : callable
        Returns the current time, time-zone aware.
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
    if not (is_writable(path) and is_writable(path / DATABASE)):
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
