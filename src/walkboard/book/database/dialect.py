"""What differs between the databases that a book can be kept in."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Protocol

from sqlalchemy import Connection, Engine

from walkboard.book.records import BookProblem
from walkboard.errors import BookError


class Watch(Protocol):
    """Notices that something was committed, by anyone."""

    def number(self, connection: Connection | None = None) -> int:
        """Differs after every commit; valid only for this watch.

        Parameters
        ----------
        connection : Connection or None
            As of whose transaction; None: now.
        """

    def close(self) -> None:
        """Release what it holds; may be called twice."""


class Database(Protocol):
    """One database with a book's records.

    Attributes
    ----------
    marker : Path
        The file that makes the folder a book.
    is_far : bool
        Whether each question has to travel.
    where : str
        Where the records are, for messages of `walkboard.book.checking`.
    """

    @property
    def marker(self) -> Path:
        """See above."""

    @property
    def is_far(self) -> bool:
        """See above."""

    @property
    def where(self) -> str:
        """See above."""

    def create(self) -> None:
        """Prepare an empty database for the tables of a book; BookError if it is not empty."""

    def sync(self) -> None:
        """Make what was built safe against a power cut."""

    def clear(self) -> None:
        """Remove what was built of a book that could not be completed."""

    def engine(self, *, wait_s: float, checks_references: bool = True) -> Engine:
        """An engine; transact with what `for_reading` or `for_writing` make of it.

        Parameters
        ----------
        wait_s : float
            How long a writer waits for another to finish [s].
        checks_references : bool
            False for a migration that rebuilds tables; `dangling` checks afterwards.
        """

    def for_reading(self, engine: Engine) -> Engine:
        """The same engine; its transactions each see one moment of the book."""

    def for_writing(self, engine: Engine) -> Engine:
        """The same engine; its transactions take the book's one write lock before they read."""

    def watch(self, engine: Engine, *, wait_s: float) -> Watch:
        """A watch over commits."""

    def trouble_of(self, error: BaseException) -> BookError | None:
        """The `BookError` for an error of the database; None if it is not one."""

    def is_sound(self, connection: Connection) -> bool:
        """Whether a quick look finds no damage."""

    def problems(self, connection: Connection) -> Iterator[BookProblem]:
        """Damage in the structure, and rows that name missing rows."""

    def dangling(self, connection: Connection) -> int:
        """The number of rows that name missing rows."""

    def defer_references(self, connection: Connection) -> None:
        """Let rows of this transaction name rows that are put in after them, if possible."""

    def renumber(self, connection: Connection) -> None:
        """Number new rows after those that were put in with their numbers."""

    def in_order(self, table: str, keys: Sequence[str]) -> str:
        """SQL for all rows of a table in the order in which they were added.

        Parameters
        ----------
        table : str
        keys : sequence of str
            The columns of its primary key.
        """

    def set_aside(self, connection: Connection, revision: str) -> None:
        """Back up the records, before a migration, into the book's folder."""

    def copy_into(self, folder: Path) -> list[tuple[str, str]]:
        """Back up the records as of one moment into another folder.

        Returns
        -------
        list of (sha256, extension)
            The recordings that belong to that moment.
        """
