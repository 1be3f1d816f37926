"""Turns errors of SQLite and the disk into a `BookError` that says what to do.

Light on purpose: no SQLAlchemy, so that opening can fail clearly before it is loaded.
"""

from __future__ import annotations

import errno
import shutil
import sqlite3
from pathlib import Path

from walkboard.errors import BookError

CORRUPT = sqlite3.SQLITE_CORRUPT
_PRIMARY = 0xFF  # the primary result code is the low byte of an extended one (sqlite.org/rescode)

_SAYINGS = {
    sqlite3.SQLITE_BUSY: (
        "Another program is writing to this book.",
        "Wait until it is done, then try again; nothing was changed.",
    ),
    sqlite3.SQLITE_LOCKED: (
        "Another program is writing to this book.",
        "Wait until it is done, then try again; nothing was changed.",
    ),
    sqlite3.SQLITE_FULL: (
        "The disk is full.",
        "Make room and try again; earlier work is safe, nothing of this was stored.",
    ),
    sqlite3.SQLITE_READONLY: (
        "The book cannot be written to.",
        "Give write permission on its folder and all files in it, or copy the book elsewhere.",
    ),
    sqlite3.SQLITE_PERM: (
        "You have no permission to open the book.",
        "Give read and write permission on its folder and everything in it.",
    ),
    sqlite3.SQLITE_CANTOPEN: (
        "The book's database cannot be opened.",
        "Check that the folder exists and that you may write in it.",
    ),
    sqlite3.SQLITE_CORRUPT: (
        "The book's database is damaged.",
        "Put back the newest copy; keep the damaged folder until that is done.",
    ),
    sqlite3.SQLITE_NOTADB: (
        "The book's database is damaged, or is not a database.",
        "Put back the newest copy; keep the damaged folder until that is done.",
    ),
}
_CHECK = "Check the disk; earlier work is safe, nothing of this was stored."


# With less than this free, SQLite cannot create the files it needs even to read: 32 KiB of shared
# memory (sqlite.org/walformat, 2.2) and pages of the log. Derived, with a margin.
_FULL_BELOW_BYTES = 256 * 1024


def is_full(place: Path) -> bool:
    """Whether the disk of a file or folder, or of its nearest existing parent, is full."""
    while not place.exists() and place != place.parent:
        place = place.parent
    try:
        return shutil.disk_usage(place).free < _FULL_BELOW_BYTES
    except OSError:
        return False


def moved(book: Path) -> BookError:
    """The `BookError` for a folder that is no longer where it was opened."""
    return BookError(
        "The book's folder was moved, renamed or removed while it was open.",
        where=str(book),
        fix="Nothing more is stored in it. Open the book where it is now.",
    )


def of_code(code: int, book: Path) -> BookError:
    """The `BookError` for one of SQLite's primary result codes listed here."""
    what, fix = _SAYINGS[code]
    return BookError(what, where=str(book), fix=fix)


def of_sqlite(error: sqlite3.Error, book: Path) -> BookError:
    """The `BookError` for an error of SQLite, by its primary result code."""
    code = getattr(error, "sqlite_errorcode", -1) & _PRIMARY
    # On a full disk SQLite may report an I/O error or a file that cannot be opened, not SQLITE_FULL
    # (sqlite.org/rescode, SQLITE_IOERR_SHMSIZE).
    if code in {sqlite3.SQLITE_IOERR, sqlite3.SQLITE_CANTOPEN} and is_full(book):
        return of_code(sqlite3.SQLITE_FULL, book)
    if code in _SAYINGS:
        return of_code(code, book)
    return BookError(
        f"The book's database could not be read or written ({error}).",
        where=str(book),
        fix=_CHECK,
    )


def is_of_database(error: BaseException | None) -> bool:
    """Whether an error comes from a database's driver (PEP 249), SQLite's or a server's."""
    original = getattr(error, "orig", error)
    return any(
        kind.__name__ == "Error" and kind.__module__ in {"sqlite3", "psycopg"}
        for kind in type(original).__mro__
    )


def is_of_room(error: OSError) -> bool:
    """Whether an error of the file system means that the disk is full."""
    return error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}


def of_disk(error: OSError, book: Path) -> BookError:
    """The `BookError` for an error of the file system while the book writes."""
    if is_of_room(error):
        return of_code(sqlite3.SQLITE_FULL, book)
    match error.errno:
        case errno.EROFS | errno.EACCES | errno.EPERM:
            return of_code(sqlite3.SQLITE_READONLY, book)
        case errno.ENOENT | errno.ESTALE | errno.ENOTDIR:
            return moved(book)
        case _:
            return BookError(
                f"The book's folder could not be read or written ({error.strerror or error}).",
                where=str(book),
                fix=_CHECK,
            )
