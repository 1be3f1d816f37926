"""A book taken to church without internet, and brought back.

What is taken along is an ordinary book's folder with some of the organs. Work in either is never
lost: what one copy has and the other has not is appended, in whatever order and as often as wanted.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.database.address import names_server, read_address
from walkboard.book.files.folder import DATABASE, HEAD_REVISION, LIVE, RECORDINGS
from walkboard.book.files.sounds import SoundFolder
from walkboard.book.glance import revision_of
from walkboard.errors import BookError
from walkboard.work import open_book
from walkboard.work.people import roster

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.book.merging.merging import Merged

Progress = Callable[[float, float], None]
"""Called with the number of facts written and the total."""


def _silent(_done: float, _total: float) -> None:
    """Show no progress."""


@dataclass(frozen=True, slots=True)
class Taken:
    """A copy to take along.

    Attributes
    ----------
    device : str
        The name that its work will show.
    merged : Merged
        What was copied into it.
    was_there : bool
        Whether the folder was taken along earlier and was only brought up to date.
    """

    device: str
    merged: Merged
    was_there: bool


def take_along(
    book: Path,
    folder: Path,
    *,
    organs: Sequence[str] = (),
    name: str | None = None,
    with_sound: bool = False,
    person: str | None = None,
    progress: Progress = _silent,
) -> Taken:
    """Make a book's folder with some of a book's organs, or update one.

    Parameters
    ----------
    book : Path
        The book at home.
    folder : Path
        Not there yet, empty, or taken along earlier.
    organs : sequence of str
        Names; empty for all, or for a folder taken along earlier those that it has.
    name : str or None
        Of the device, as "Chapel laptop"; None: the folder's name, or the name it has.
    with_sound : bool
        Whether to copy the recordings too. Photographs always come along.
    person : str or None
        Name of who works in the copy; None: as it was.
    progress : callable

    Raises
    ------
    BookError
        If there is no such book, organ or person, or the folder cannot be written or is something
        else.
    """
    _refuse_same(book, folder)
    was_there = (folder / DATABASE).is_file() or names_server(folder)
    with open_book.opened(book) as home:
        chosen = [home.organ_named(organ).name for organ in organs]
        if person is not None:
            roster.named(home, person)  # before anything is copied
        with open_book.opened(folder) if was_there else open_book.new(folder) as away:
            if not chosen:
                chosen = [one.name for one in (away if was_there else home).organs()]
            if not was_there and not with_sound:
                away.leave_sound()
            if name is not None:
                away.name_device(name)
            merged = away.merge(home, chosen, recordings=with_sound, progress=progress)
            if person is not None:
                roster.work_here(away, person)
            return Taken(away.device().name, merged, was_there)


def bring_back(
    folder: Path, book: Path, *, dry_run: bool = False, progress: Progress = _silent
) -> Merged:
    """Append to a book what a copy has and the book does not.

    The copy is read from a temporary copy of its database, which is migrated if it is older, so
    nothing in the folder changes.

    Parameters
    ----------
    folder : Path
        A copy of the book: taken along, copied, or restored from a backup.
    book : Path
        The book at home.
    dry_run : bool
        Find what would be appended, and write nothing.
    progress : callable

    Raises
    ------
    BookError
        If either is not a book, the copy is newer than this program, or the book cannot be
        written. What was appended before stays, and doing it again appends the rest.
    """
    from walkboard.book.migrating import known_revisions

    _refuse_same(book, folder)
    revision = revision_of(folder)
    if revision != HEAD_REVISION and revision not in known_revisions():
        raise BookError(
            f"This copy has a newer version ({revision}) than this program knows"
            f" ({HEAD_REVISION}).",
            where=str(folder),
            fix="Update the program here, then bring it back; nothing was changed.",
        )
    _refuse_live(folder)
    with _read_only(folder, revision) as away, open_book.opened(book) as home:
        if dry_run:
            return home.news_of(away)
        return home.merge(away, files=SoundFolder(folder.absolute()), progress=progress)


@contextmanager
def _read_only(folder: Path, revision: str) -> Iterator[Book]:
    """A copy of the book, open; nothing in the folder changes."""
    from walkboard.book.database.sqlite import copy_database

    if names_server(folder):
        # A backup that was put back into another database: it is read where it is.
        if revision != HEAD_REVISION:
            raise BookError(
                f"This copy has an older version ({revision}) than this program ({HEAD_REVISION}).",
                where=str(folder),
                fix=f"Open it once, which brings its tables up: walkboard book show {folder}",
            )
        with open_book.opened(folder) as away:
            yield away
        return
    with tempfile.TemporaryDirectory(prefix="walkboard-back-") as temporary:
        part = Path(temporary) / folder.absolute().name
        (part / RECORDINGS).mkdir(parents=True)
        copy_database((folder / DATABASE).absolute(), part / DATABASE)
        with open_book.opened(part) as away:
            yield away


def _refuse_same(book: Path, folder: Path) -> None:
    if book.resolve() == folder.resolve():
        raise BookError(
            "This is the same folder twice.", where=str(folder), fix="Name the book and its copy."
        )
    if names_server(book) and names_server(folder) and read_address(book) == read_address(folder):
        raise BookError(
            "Both folders are of the same database, so there is nothing to bring back.",
            where=str(folder),
            fix="Name the book and its copy.",
        )


def _refuse_live(folder: Path) -> None:
    """Recordings of a live session are in no table until the copy's own program stores them."""
    if any((folder / LIVE).glob("*.jsonl")):
        raise BookError(
            "A live session's recording is not in this copy's book yet.",
            where=str(folder / LIVE),
            fix=f"End the session, or open the copy once: walkboard desk {folder}",
        )
