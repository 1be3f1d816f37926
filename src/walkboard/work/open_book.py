"""The tuning book for the use cases: opened with the system's clock, organs by name."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

from walkboard.book.database.address import SCHEMES
from walkboard.book.opening import connect_book, create_book, open_book
from walkboard.book.records import KeptOrgan, KeptVisit
from walkboard.errors import BookError
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ
from walkboard.work.book_choice import BookChoice
from walkboard.work.organ_files import read_text

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.scales.key_names import Names


def now() -> datetime:
    """The current time in UTC."""
    return datetime.now(UTC)


def new(path: Path, *, address: str | None = None) -> Book:
    """Create an empty book; BookError if something already exists there.

    Parameters
    ----------
    path : Path
        Its folder.
    address : str or None
        A PostgreSQL database for its records; None: a file in the folder.
    """
    return create_book(path, clock=now, address=address)


def folder_and_address(place: str, address: str | None) -> tuple[Path, str | None]:
    """Where a new book is made, from a folder or from the address of a database alone.

    Parameters
    ----------
    place : str
        The folder; or the address, whose database then names a folder in the current one.
    address : str or None
        The address that was given beside the folder.

    Raises
    ------
    BookError
        When two addresses were given, or one that names no database.
    """
    if not place.startswith(SCHEMES):
        return Path(place), address
    name = urlsplit(place).path.strip("/")
    if address is not None or not name or "/" in name:
        raise BookError(
            "A book is a folder, and this does not say which one.",
            where=place,
            fix="Make one with 'walkboard book new FOLDER --database ADDRESS'; then name it.",
        )
    return Path(name), place


def connected(path: Path, address: str) -> Book:
    """Make another folder for a book in a PostgreSQL database; BookError if there is none."""
    return connect_book(path, address, clock=now)


def opened(path: Path) -> Book:
    """Open a book; BookError if there is none or it cannot be used."""
    return open_book(path, clock=now)


def key_names(path: Path | None) -> Names:
    """How a book names keys on paper; scientific names where there is no book.

    Raises
    ------
    BookError
        If the path is given and is no book, or one that cannot be used.
    """
    if path is None:
        return BookChoice().key_names
    with opened(path) as book:
        return BookChoice.of(book.path).key_names


def add_organ(book: Book, description: Path) -> KeptOrgan:
    """Check a description and store it; a changed one replaces the last of the same name.

    Raises
    ------
    DescriptionError
        With every problem of the description; nothing is stored then.
    """
    text = read_text(description)
    return book.add_organ(read_organ(text, where=str(description)).name, text)


def organ_of(book: Book, name: str | None) -> tuple[KeptOrgan, Organ]:
    """The organ of a name, or the only one of the book.

    Raises
    ------
    BookError
        When the book has none, or several and no name was given.
    """
    if name is not None:
        kept = book.organ_named(name)
    else:
        organs = book.organs()
        if len(organs) != 1:
            there = ", ".join(repr(organ.name) for organ in organs) or "none"
            raise BookError(
                f"The book has {len(organs)} organs; say which one is meant ({there}).",
                where=str(book.path),
                fix="Add one with 'walkboard book add'." if not organs else "Give --organ NAME.",
            )
        kept = organs[0]
    return kept, read_organ(kept.description, where=kept.name)


def visit_at_work(book: Book, organ: KeptOrgan) -> KeptVisit:
    """The open visit to an organ; BookError if there is none."""
    visit = book.visit_in_progress(organ.id)
    if visit is None:
        raise BookError(
            f"No visit to {organ.name} is open.",
            where=str(book.path),
            fix="Open one with 'walkboard visit open'.",
        )
    return visit


def visit_of(book: Book, organ: KeptOrgan, number: int | None) -> KeptVisit:
    """A visit by its number, else the open one, else the last one.

    Raises
    ------
    BookError
        When there is no such visit, or it is to another organ.
    """
    visits = book.visits(organ.id)
    if number is not None:
        found = [visit for visit in visits if visit.id == number]
    else:
        found = [visit for visit in visits if visit.is_open] or list(visits[-1:])
    if not found:
        what = "There is no visit yet" if number is None else f"There is no visit {number}"
        raise BookError(
            f"{what} to {organ.name}.",
            where=str(book.path),
            fix="'walkboard visit list' lists them.",
        )
    return found[0]
