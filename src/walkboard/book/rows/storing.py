"""Safe reading from and writing to the book's database, whichever that is.

Every read sees one moment of the book (a read transaction over a snapshot). Every write takes the
one write lock *before* it reads anything, so what it decides on cannot change under it; it is on
the disk when the call returns. `walkboard.book.database` says how each database does that.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import TypeVar

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from walkboard.book.database.choosing import database_of
from walkboard.book.files import trouble
from walkboard.book.files.folder import HEAD_REVISION, Clock
from walkboard.book.files.sounds import SoundFolder
from walkboard.book.models import Base, DescriptionRow, VisitRow
from walkboard.book.rows import stamping
from walkboard.book.rows.viewing import View, current_view, held, within
from walkboard.errors import BookError

Row = TypeVar("Row", bound=Base)


class Storing:
    """The base of every part of the book: its folder, its clock, and its transactions.

    Parameters
    ----------
    path : Path
        The book's folder.
    clock : callable
        Returns the current time, time-zone aware.
    wait_s : float
        How long a writer waits for another program to finish [s].
    """

    def __init__(self, path: Path, *, clock: Clock, wait_s: float) -> None:
        self.path = path
        self.sounds = SoundFolder(path)
        self._clock = clock
        self._latest: datetime | None = None  # what the clock showed last
        self.database = database_of(path)
        self._engine = self.database.engine(wait_s=wait_s)
        self._file = _identity(self.database.marker)
        self._read_engine = self.database.for_reading(self._engine)
        self._write_engine = self.database.for_writing(self._engine)

    def _now(self) -> datetime:
        now = self._clock()
        if now.tzinfo is None:
            raise ValueError("the book's clock must return time-zone aware instants")
        self._latest = now.astimezone(UTC)
        return self._latest

    @contextmanager
    def _reading(self) -> Iterator[Session]:
        """One moment of the book; never waits for a writer."""
        self.refuse_moved()
        view = current_view(self._read_engine)
        with self._telling():
            if view is not None:
                with view.session() as session:
                    yield session
            else:
                with Session(self._read_engine) as session, session.begin():
                    yield session

    @contextmanager
    def one_view(self) -> Iterator[None]:
        """All that is read inside, as for one page, is of one moment of a book on a server.

        After a write inside, it is of the moment after it. A file is asked so quickly that each
        question may have its own moment; there this does nothing.
        """
        if self.database.is_far:
            with within(View(self._read_engine)):
                yield
        else:
            yield

    @contextmanager
    def _writing(self) -> Iterator[Session]:
        """A change that is stored whole or not at all."""
        self.refuse_moved()
        view = current_view(self._read_engine)
        if view is not None:
            view.renew()
        with self._telling(), Session(self._write_engine) as session, session.begin():
            self._refuse_other_revision(session)
            stamps = stamping.Stamps(lambda: self._latest or self._now(), self.path)
            stamping.begin(session, stamps)
            yield session
            session.flush()
            stamps.store(session.connection())
            self.refuse_moved()  # while it can still be undone

    def refuse_moved(self) -> None:
        """Raise BookError if the opened folder is no longer at its path.

        An open database keeps working after its file is moved or deleted, so rows and recordings
        would end up in different places, or be lost.
        """
        if self._file is not None and _identity(self.database.marker) != self._file:
            raise trouble.moved(self.path)

    def _refuse_other_revision(self, session: Session) -> None:
        # Another program may have migrated the book while this one had it open.
        revision = session.connection().exec_driver_sql("SELECT version_num FROM alembic_version")
        if revision.scalar() != HEAD_REVISION:
            raise self._error(
                "A newer version of the program has migrated this book since it was opened.",
                "Close the book and open it with that version.",
            )

    @contextmanager
    def _telling(self) -> Iterator[None]:
        """Turns errors of the database and the disk into `BookError`, in one place."""
        try:
            yield
        except UnicodeEncodeError as error:  # as in the name of a file from an old disk
            raise self._error(
                f"{error.object!r} contains characters that cannot be stored.", "Rename it."
            ) from error
        except Exception as error:
            known = self.database.trouble_of(error)
            if known is None:
                raise
            raise known from error

    def _error(self, what: str, fix: str) -> BookError:
        return BookError(what, where=str(self.path), fix=fix)

    def _get(self, session: Session, row: type[Row], id: int, kind: str) -> Row:  # noqa: A002
        found = held(session, (row, id), lambda: session.get(row, id))
        if found is None:
            raise self._error(f"There is no {kind} {id} in this book.", f"List the {kind}s.")
        return found

    def _newest_description(self, session: Session, organ_id: int) -> DescriptionRow:
        query = newest_descriptions().where(DescriptionRow.organ_id == organ_id)
        found = held(session, ("organ", organ_id), lambda: session.scalar(query))
        if found is None:
            raise self._error(f"There is no organ {organ_id} in this book.", "List the organs.")
        return found

    def _visit_at_work(self, session: Session, visit_id: int) -> VisitRow:
        """A visit that is still open; BookError if it is closed."""
        visit = self._get(session, VisitRow, visit_id, "visit")
        if visit.closed_at is not None:
            raise self._error(
                f"Visit {visit_id} was closed on {visit.closed_at:%Y-%m-%d} and is now read-only.",
                "Open a new visit, or add a note to this one.",
            )
        return visit


def _identity(marker: Path) -> tuple[int, int] | None:
    """Identity of a file in its file system (POSIX st_dev, st_ino)."""
    try:
        found = marker.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def newest_descriptions() -> Select[DescriptionRow]:
    """The newest version of each organ's description."""
    other = aliased(DescriptionRow)
    newest = (
        select(func.max(other.version))
        .where(other.organ_id == DescriptionRow.organ_id)
        .scalar_subquery()
    )
    return select(DescriptionRow).where(DescriptionRow.version == newest)
