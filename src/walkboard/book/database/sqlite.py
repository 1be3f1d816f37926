"""A book's records in one SQLite file in its folder.

A writer takes the one write lock before it reads anything; what it commits is on the disk (WAL with
synchronous=FULL: sqlite.org/wal, sqlite.org/pragma).
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

from sqlalchemy import Boolean, Column, Connection, Engine, Float, Integer, create_engine, event
from sqlalchemy.exc import DBAPIError
from sqlalchemy.pool import QueuePool

from walkboard.book.files import trouble
from walkboard.book.files.folder import APPLICATION_ID, DATABASE, sync_file, sync_folder
from walkboard.book.models import Base
from walkboard.book.records import BookProblem
from walkboard.errors import BookError

_BEGIN = "walkboard_begin"
# Whose opening would wait for a check of all of it: 4 ms a megabyte. Chosen.
_LARGE_BYTES = 64_000_000
_MANY_ROWS = frozenset({"hold", "reading", "tick", "plan_item", "pipe_now"})
_PUT_BACK = "Put back the newest copy; keep the damaged folder until that is done."


class SqliteDatabase:
    """The database file of a book's folder.

    Parameters
    ----------
    book : Path
        The folder.
    """

    where = DATABASE
    is_far = False

    def __init__(self, book: Path) -> None:
        self._book = book
        self.marker = book / DATABASE

    def create(self) -> None:
        """Make the file, without tables."""
        with closing(sqlite3.connect(self.marker)) as connection:
            connection.execute("PRAGMA journal_mode = WAL")
            connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")

    def sync(self) -> None:
        """See `Database.sync`."""
        sync_file(self.marker)

    def clear(self) -> None:
        """See `Database.clear`: the folder that is being built is removed with its file."""

    def engine(self, *, wait_s: float, checks_references: bool = True) -> Engine:
        """See `Database.engine`; the file must exist."""
        uri = f"{self.marker.absolute().as_uri()}?mode=rw"

        def connect() -> sqlite3.Connection:
            # isolation_level=None: the driver must not begin transactions; ours state whether they
            # will write.
            connection = sqlite3.connect(
                uri, uri=True, timeout=wait_s, isolation_level=None, check_same_thread=False
            )
            try:
                on = "ON" if checks_references else "OFF"
                connection.execute(f"PRAGMA foreign_keys = {on}")
                connection.execute("PRAGMA synchronous = FULL")
            except sqlite3.Error:
                connection.close()
                raise
            return connection

        engine = create_engine("sqlite://", creator=connect, poolclass=QueuePool)

        @event.listens_for(engine, "begin")
        def _begin(connection: Connection) -> None:
            begin: str = connection.get_execution_options().get(_BEGIN, "BEGIN")
            connection.exec_driver_sql(begin)

        return engine

    def for_reading(self, engine: Engine) -> Engine:
        """See `Database.for_reading`."""
        return engine

    def for_writing(self, engine: Engine) -> Engine:
        """See `Database.for_writing`."""
        return engine.execution_options(**{_BEGIN: "BEGIN IMMEDIATE"})

    def watch(self, engine: Engine, *, wait_s: float) -> SqliteWatch:  # noqa: ARG002
        """See `Database.watch`."""
        return SqliteWatch(self.marker, wait_s)

    def trouble_of(self, error: BaseException) -> BookError | None:
        """See `Database.trouble_of`."""
        cause = error.orig if isinstance(error, DBAPIError) else error
        if isinstance(cause, UnicodeDecodeError):  # a damaged text, perhaps in SQLite's own message
            return trouble.of_code(trouble.CORRUPT, self._book)
        return trouble.of_sqlite(cause, self._book) if isinstance(cause, sqlite3.Error) else None

    def is_sound(self, connection: Connection) -> bool:
        """See `Database.is_sound`."""
        (size,) = connection.exec_driver_sql(
            "SELECT page_count * page_size FROM pragma_page_count, pragma_page_size"
        ).one()
        if size <= _LARGE_BYTES:
            parts = ["1"]  # the whole, up to one problem
        else:  # all but what makes it large, which `Book.check` reads too
            parts = [f"'{name}'" for name in Base.metadata.tables if name not in _MANY_ROWS]
        return all(
            connection.exec_driver_sql(f"PRAGMA quick_check({part})").scalar() == "ok"
            for part in parts
        )

    def problems(self, connection: Connection) -> Iterator[BookProblem]:
        """See `Database.problems`."""
        for (said,) in connection.exec_driver_sql("PRAGMA integrity_check"):
            if said != "ok":
                yield BookProblem(DATABASE, f"The database is damaged: {said}.", _PUT_BACK)
        for table, rowid, parent, _ in connection.exec_driver_sql("PRAGMA foreign_key_check"):
            yield BookProblem(
                f"{DATABASE}, {table} {rowid}",
                f"It names a row of {parent} that does not exist.",
                _PUT_BACK,
            )
        yield from _wrong_kinds(connection)

    def dangling(self, connection: Connection) -> int:
        """See `Database.dangling`."""
        return len(connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall())

    def defer_references(self, connection: Connection) -> None:
        """See `Database.defer_references`."""
        connection.exec_driver_sql("PRAGMA defer_foreign_keys = ON")

    def renumber(self, connection: Connection) -> None:
        """See `Database.renumber`: SQLite numbers after the largest (sqlite.org/autoinc)."""

    def in_order(self, table: str, keys: Sequence[str]) -> str:  # noqa: ARG002
        """See `Database.in_order`."""
        return f'SELECT * FROM "{table}" ORDER BY rowid'  # noqa: S608 - the models' own names

    def set_aside(self, connection: Connection, revision: str) -> None:  # noqa: ARG002
        """See `Database.set_aside`."""
        copy_database(self.marker, self._book / f"book-of-form-{revision}.sqlite")

    def copy_into(self, folder: Path) -> list[tuple[str, str]]:
        """See `Database.copy_into`."""
        target = folder / DATABASE
        copy_database(self.marker, target)
        uri = f"{target.as_uri()}?immutable=1"
        with closing(sqlite3.connect(uri, uri=True)) as connection:
            return connection.execute("SELECT sha256, extension FROM sound").fetchall()


class SqliteWatch:
    """A connection that writes nothing.

    SQLite then counts every commit of all others (sqlite.org/pragma, data_version), also those of
    this program's other connections.
    """

    def __init__(self, database: Path, wait_s: float) -> None:
        uri = f"{database.absolute().as_uri()}?mode=rw"
        self._connection = sqlite3.connect(uri, uri=True, timeout=wait_s, check_same_thread=False)
        self._lock = threading.Lock()

    def number(self, connection: Connection | None = None) -> int:  # noqa: ARG002
        """See `Watch.number`."""
        with self._lock:
            (number,) = self._connection.execute("PRAGMA data_version").fetchone()
            return int(number)

    def close(self) -> None:
        """See `Watch.close`."""
        with self._lock:
            self._connection.close()


def copy_database(source: Path, target: Path) -> None:
    """Copy a database at one moment, even while programs write to it.

    Uses SQLite's online backup (sqlite.org/backup); the target gets its name once it is complete.
    """
    part = target.with_name(f".{target.name}.part")
    part.unlink(missing_ok=True)
    uri = f"{source.absolute().as_uri()}?mode=ro"
    try:
        with (
            closing(sqlite3.connect(uri, uri=True)) as old,
            closing(sqlite3.connect(part)) as new,
        ):
            old.backup(new)
        sync_file(part)
        part.replace(target)
        sync_folder(target.parent)
    finally:
        part.unlink(missing_ok=True)


def _wrong_kinds(connection: Connection) -> Iterator[BookProblem]:
    """Texts where numbers belong, numbers where texts belong, and infinite numbers.

    SQLite puts a value of any kind in any column (sqlite.org/datatype3).
    """
    for table in Base.metadata.sorted_tables:
        columns = [(column.name, _is_wrong(column)) for column in table.columns]
        names = " || ".join(f"iif({is_wrong}, '{name} ', '')" for name, is_wrong in columns)
        any_of = " OR ".join(is_wrong for _, is_wrong in columns)
        query = f'SELECT rowid, {names} FROM "{table.name}" WHERE {any_of}'  # noqa: S608 - the models' own names
        for number, found in connection.exec_driver_sql(query):
            for name in found.split():
                yield BookProblem(
                    f"{DATABASE}, {table.name} {number}",
                    f"Its {name} is not {'a number' if _is_number(table.c[name]) else 'a text'}.",
                    _PUT_BACK,
                )


def _is_wrong(column: Column[Any]) -> str:
    # Numbers come before texts, and these before other bytes (sqlite.org/datatype3, 4.1); typeof
    # of every value would take four times as long.
    if _is_number(column):
        # 9e999 is infinity: SQLite reads the largest finite number less exactly than Python does.
        return f'NOT ("{column.name}" > -9e999 AND "{column.name}" < 9e999)'
    return f"""("{column.name}" < '' OR "{column.name}" >= x'')"""


def _is_number(column: Column[Any]) -> bool:
    return isinstance(column.type, Integer | Float | Boolean)
