"""Where things lie in a book's folder, what marks it as a book's, and how one comes to be."""

from __future__ import annotations

import errno
import os
import shutil
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from walkboard.book import trouble
from walkboard.errors import BookError

Clock = Callable[[], datetime]

DATABASE = "book.sqlite"
RECORDINGS = "recordings"
INCOMING = ".incoming"

APPLICATION_ID = 0x57_4C_4B_42  # "WLKB"; SQLite's header has a field for it (sqlite.org/fileformat)
HEAD_REVISION = "0007"  # the newest form of the tables; a test holds it to the migrations
WAIT_S = 5.0  # how long a writer waits for another program, unless told otherwise


@contextmanager
def building(path: Path) -> Iterator[Path]:
    """A new folder whose content takes its place only when all of it is done.

    Parameters
    ----------
    path : Path
        Where it is to be: nothing, or an empty folder.

    Yields
    ------
    Path
        Where to build it; removed again if the building fails.

    Raises
    ------
    BookError
        When something is there already, or the folder cannot be written.
    """
    _refuse_taken(path)
    # A folder that is there stays itself, for somebody may stand in it, or it may be a disk of its
    # own; one that is not there comes into being whole.
    there = path.is_dir()
    part = (path if there else path.parent) / f".{path.name}.{uuid.uuid4().hex}.new"
    try:
        part.parent.mkdir(parents=True, exist_ok=True)
        part.mkdir()
        if there:
            _refuse_taken(path, but=part)  # two that build here at once see each other
        yield part
        sync_folder(part)
        if there:
            for child in sorted(part.iterdir(), key=lambda child: child.name == DATABASE):
                child.rename(path / child.name)  # the database last: with it, it is a book
            sync_folder(path)
        else:
            part.rename(path)
        sync_folder(path.parent)
    except OSError as error:
        if error.errno in {errno.ENOTEMPTY, errno.EEXIST}:
            _refuse_taken(path)
        raise trouble.of_disk(error, path) from error
    finally:
        shutil.rmtree(part, ignore_errors=True)


def is_writable(path: Path) -> bool:
    """Whether this program may write to a file or into a folder."""
    # The effective user counts, not the one who started the program; not all systems tell it.
    return os.access(path, os.W_OK, effective_ids=os.access in os.supports_effective_ids)


def sync_folder(folder: Path) -> None:
    """Make the names in a folder safe against a power cut, where the system can.

    A file's own fsync does not cover its name (POSIX leaves that to the folder). Windows has no
    such call and needs none.
    """
    if os.name == "nt":  # pragma: no cover
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        # Some disks know no such call on folders; SQLite goes on without it there too.
        if error.errno not in {errno.EINVAL, errno.ENOTSUP}:
            raise
    finally:
        os.close(handle)


def sync_file(path: Path) -> None:
    """Make a file's content safe against a power cut."""
    with path.open("rb+") as handle:
        os.fsync(handle.fileno())


def _refuse_taken(path: Path, *, but: Path | None = None) -> None:
    if not path.exists():
        return
    if (path / DATABASE).exists():
        raise BookError("There is a book here already.", where=str(path), mend="Open it instead.")
    if not path.is_dir() or any(child != but for child in path.iterdir()):
        raise BookError(
            "There is something else here already.",
            where=str(path),
            mend="Name a folder that is not there yet, or an empty one.",
        )
