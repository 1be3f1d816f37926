"""The layout of a book's folder, what marks it as a book, and how one is made."""

from __future__ import annotations

import errno
import os
import shutil
import sqlite3
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from walkboard.book.files import trouble
from walkboard.errors import BookError

Clock = Callable[[], datetime]

DATABASE = "book.sqlite"
ADDRESS = "database.toml"  # instead, if the records are on a server: names its database
RECORDINGS = "recordings"
INCOMING = ".incoming"
LIVE = ".live"  # recordings of live sessions that are not in the book yet
BUILDING_LOCK = ".building"  # held, in a folder that is being built, by the program that builds it

APPLICATION_ID = 0x57_4C_4B_42  # "WLKB"; SQLite's header has a field for it (sqlite.org/fileformat)
HEAD_REVISION = "0018"  # the newest version of the tables; a test compares it with the migrations
WAIT_S = 5.0  # how long a writer waits for another program by default. Chosen.


@contextmanager
def building(path: Path) -> Iterator[Path]:
    """A new folder that appears under its name only when all of it is there.

    If the program is killed meanwhile, the unfinished folder stays beside or in `path` under
    another name, where `walkboard.book.files.leftovers` finds it.

    Parameters
    ----------
    path : Path
        Its path: must not exist, or be an empty folder.

    Yields
    ------
    Path
        Where to build it; removed if building fails.

    Raises
    ------
    BookError
        If the path is not empty or the folder cannot be written.
    """
    _refuse_taken(path)
    # An existing folder is kept: a program may be working in it, or it may be a mounted disk. A new
    # one appears complete.
    there = path.is_dir()
    part = (path if there else path.parent) / f".{path.name}.{uuid.uuid4().hex}.new"
    held: sqlite3.Connection | None = None
    try:
        part.parent.mkdir(parents=True, exist_ok=True)
        part.mkdir()
        held = hold_lock(part / BUILDING_LOCK)
        if there:
            _refuse_taken(path, but=part)  # two programs that build here at once notice each other
        yield part
        if held is not None:
            held.close()
        (part / BUILDING_LOCK).unlink(missing_ok=True)
        sync_folder(part)
        if there:
            for child in sorted(
                part.iterdir(), key=lambda child: child.name in {DATABASE, ADDRESS}
            ):
                child.rename(path / child.name)  # the database last: with it, it is a book
            sync_folder(path)
        else:
            part.rename(path)
        sync_folder(path.parent)
    except OSError as error:
        if error.errno in {errno.ENOTEMPTY, errno.EEXIST}:
            _refuse_taken(path)
        raise trouble.of_disk(error, path) from error
    except sqlite3.Error as error:
        raise trouble.of_sqlite(error, path) from error
    except BookError as error:
        error.where = error.where.replace(str(part), str(path))  # the name that the user knows
        raise
    finally:
        if held is not None:
            held.close()
        shutil.rmtree(part, ignore_errors=True)


def hold_lock(path: Path) -> sqlite3.Connection | None:
    """A lock that the system releases when this program ends, however it ends.

    Parameters
    ----------
    path : Path
        A file used only for the lock; created if missing.

    Returns
    -------
    sqlite3.Connection or None
        Close it to release the lock; None if another program holds it.

    Raises
    ------
    sqlite3.Error
        When the file cannot be opened or made.
    """
    connection = sqlite3.connect(path, timeout=0.0, isolation_level=None, check_same_thread=False)
    try:
        connection.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        connection.close()
        if error.sqlite_errorcode & 0xFF in {sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED}:
            return None
        raise
    return connection


def is_writable(path: Path) -> bool:
    """Whether this program may write to a file or into a folder."""
    # The effective user counts, not the one who started the program; some systems cannot check.
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder safe against a power cut, if the system can.

    A file's own fsync does not cover its name (POSIX leaves that to the folder). Windows has no
    such call and needs none.
    """
    if os.name == "nt":  # pragma: no cover
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        # Some file systems cannot do this to folders; SQLite carries on without it there too.
        if error.errno not in {errno.EINVAL, errno.ENOTSUP}:
            raise
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Make a file's content safe against a power cut."""
    with path.open("rb+") as handle:
        os.fsync(handle.fileno())


def refuse_address(path: Path) -> None:
    """Raise BookError for an address of a database where a book's folder is meant."""
    if not {"postgresql:", "postgres:"}.isdisjoint(path.parts):
        raise BookError(
            "A book is a folder; this is the address of a database.",
            where=str(path),
            fix="Make one with 'walkboard book new FOLDER --database ADDRESS'; then name it.",
        )


def _refuse_taken(path: Path, *, but: Path | None = None) -> None:
    refuse_address(path)
    if not path.exists():
        return
    if (path / DATABASE).exists() or (path / ADDRESS).exists():
        raise BookError("There is already a book here.", where=str(path), fix="Open it instead.")
    if not path.is_dir() or any(child != but for child in path.iterdir()):
        raise BookError(
            "There is already something else here.",
            where=str(path),
            fix="Name a folder that does not exist yet, or an empty one.",
        )
