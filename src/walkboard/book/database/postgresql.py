"""A book's records in a database of a PostgreSQL server.

Every read is one REPEATABLE READ transaction, so it sees one moment. Every write first takes the
book's one write lock (an advisory lock of the transaction), as with SQLite: what it decides on
cannot change under it, and rows are committed in the order of their numbers, so that "the newest
number" misses none. A write runs at READ COMMITTED because the lock itself is a statement: with one
snapshot per transaction it would not see what the writer before it has just committed.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from contextlib import closing
from pathlib import Path
from time import monotonic
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.exc import DBAPIError, DisconnectionError
from sqlalchemy.pool import ConnectionPoolEntry, QueuePool

from walkboard.book.database import postgresql_tools, postgresql_trouble
from walkboard.book.files.folder import ADDRESS, APPLICATION_ID, HEAD_REVISION
from walkboard.book.records import BookProblem
from walkboard.errors import BookError

try:
    import psycopg
    from psycopg.conninfo import conninfo_to_dict
except ImportError as error:
    raise BookError(
        "This book's records are in a PostgreSQL database; the package that connects to it is"
        " missing.",
        fix="Install it: pip install 'walkboard[postgresql]'",
    ) from error

WRITE_LOCK = APPLICATION_ID  # of advisory locks, which count per database
_CONNECT_S = 10  # until a server that does not answer is given up. Chosen.
_DEAD_CLIENT_S = 60  # after which the server drops a writer that has gone silent. Chosen.
_IDLE_S = 30.0  # after which a connection is tested before it is used. Chosen.
_CONNECTIONS, _MORE = 5, 35  # kept open by one program, and opened when it is busy. Chosen.
_WRITES = "walkboard_writes"


class PostgresqlDatabase:
    """The database that a book's folder names.

    Parameters
    ----------
    book : Path
        The folder.
    address : str
        ``postgresql://USER@HOST/DATABASE``, without a password.
    """

    where = "the database"
    is_far = True

    def __init__(self, book: Path, address: str) -> None:
        self._book = book
        self.address = address
        self.marker = book / ADDRESS

    def connect(self, *, wait_s: float = 5.0) -> psycopg.Connection[Any]:
        """A separate connection that commits automatically; close it.

        Raises
        ------
        psycopg.Error
            When the server cannot be reached or refuses.
        """
        return psycopg.connect(autocommit=True, **self._arguments(wait_s))

    def create(self) -> None:
        """Check that the database is empty and fit for a book.

        Raises
        ------
        BookError
            When it is not.
        """
        try:
            with closing(self.connect()) as connection:
                row = connection.execute(
                    "SELECT current_setting('server_encoding'),"
                    " current_setting('server_version_num')::int,"
                    " to_regclass('alembic_version') IS NOT NULL"
                    "  AND to_regclass('description') IS NOT NULL,"
                    " EXISTS (SELECT FROM pg_class WHERE relkind IN ('r', 'p', 'v', 'm')"
                    "  AND relnamespace = current_schema()::regnamespace)"
                ).fetchone()
        except psycopg.Error as error:
            raise postgresql_trouble.of(error, self.address) from error
        assert row is not None
        encoding, version, is_book, is_taken = row
        if is_book:
            raise self._error(
                "There is already a book in this database.",
                "To use it from another folder: walkboard book connect FOLDER ADDRESS.",
            )
        if is_taken:
            raise self._error(
                "There is already something else in this database.",
                "Make a new database for the book, as with createdb.",
            )
        if encoding != "UTF8":
            raise self._error(
                f"The database keeps text as {encoding}.", "Make one with createdb --encoding=UTF8."
            )
        if version < OLDEST_SERVER:
            raise self._error(
                f"The server is PostgreSQL {version // 10000}.",
                f"Use PostgreSQL {OLDEST_SERVER // 10000} or newer.",
            )

    def sync(self) -> None:
        """See `Database.sync`: a commit is already safe."""

    def clear(self) -> None:
        """See `Database.clear`: drops the tables."""
        from walkboard.book.models import Base  # noqa: PLC0415 - only here

        names = [table.name for table in Base.metadata.tables.values()]
        listed = ", ".join(f'"{name}"' for name in [*names, "alembic_version"])
        with closing(self.connect()) as connection:
            connection.execute(f"DROP TABLE IF EXISTS {listed} CASCADE")

    def engine(self, *, wait_s: float, checks_references: bool = True) -> Engine:  # noqa: ARG002
        """See `Database.engine`."""
        engine = create_engine(
            "postgresql+psycopg://",
            connect_args=self._arguments(wait_s),
            poolclass=QueuePool,
            pool_size=_CONNECTIONS,
            max_overflow=_MORE,
            use_native_hstore=False,  # saves asking the server for a type that no table has
        )
        is_closed = threading.Event()
        event.listen(engine, "engine_disposed", lambda _: is_closed.set())

        def give_back(connection: Any, entry: ConnectionPoolEntry) -> None:
            # What is still read when the book is closed, as by a page, comes back to no pool.
            if is_closed.is_set() and connection is not None:
                connection.close()
            entry.info["idle_since_s"] = monotonic()

        event.listen(engine, "checkin", give_back)
        event.listen(engine, "checkout", _refuse_dead)
        event.listen(engine, "begin", _lock_to_write)
        return engine

    def for_reading(self, engine: Engine) -> Engine:
        """See `Database.for_reading`."""
        return engine.execution_options(isolation_level="REPEATABLE READ", postgresql_readonly=True)

    def for_writing(self, engine: Engine) -> Engine:
        """See `Database.for_writing`."""
        return engine.execution_options(isolation_level="READ COMMITTED", **{_WRITES: True})

    def watch(self, engine: Engine, *, wait_s: float) -> PostgresqlWatch:  # noqa: ARG002
        """See `Database.watch`."""
        return PostgresqlWatch(engine)

    def trouble_of(self, error: BaseException) -> BookError | None:
        """See `Database.trouble_of`."""
        cause = error.orig if isinstance(error, DBAPIError) else error
        if isinstance(cause, psycopg.Error):
            return postgresql_trouble.of(cause, self.address)
        return None

    def is_sound(self, connection: Connection) -> bool:  # noqa: ARG002
        """See `Database.is_sound`: a server looks after its own files."""
        return True

    def problems(self, connection: Connection) -> Iterator[BookProblem]:  # noqa: ARG002
        """See `Database.problems`: the server enforces its structure and references."""
        return iter(())

    def dangling(self, connection: Connection) -> int:  # noqa: ARG002
        """See `Database.dangling`: the server refuses such rows."""
        return 0

    def defer_references(self, connection: Connection) -> None:
        """See `Database.defer_references`: not possible; an export has rows in their order."""

    def renumber(self, connection: Connection) -> None:
        """See `Database.renumber`."""
        numbered = connection.exec_driver_sql(
            "SELECT table_name, pg_get_serial_sequence(quote_ident(table_name), column_name)"
            " FROM information_schema.columns WHERE table_schema = current_schema()"
            " AND column_name = 'id' AND column_default LIKE 'nextval%%'"
        ).fetchall()
        for table, sequence in numbered:
            connection.exec_driver_sql(
                f"SELECT setval('{sequence}', max(id)) FROM \"{table}\" HAVING max(id) IS NOT NULL"  # noqa: S608
            )

    def in_order(self, table: str, keys: Sequence[str]) -> str:
        """See `Database.in_order`."""
        listed = ", ".join(f'"{key}"' for key in keys)
        return f'SELECT * FROM "{table}" ORDER BY {listed}'  # noqa: S608 - the models' own names

    def set_aside(self, connection: Connection, revision: str) -> None:  # noqa: ARG002
        """See `Database.set_aside`."""
        postgresql_tools.dump(self.address, self._book / f"book-of-form-{revision}.pgdump")

    def copy_into(self, folder: Path) -> list[tuple[str, str]]:
        """See `Database.copy_into`: ``book.pgdump``, for ``pg_restore``."""
        with closing(self.connect()) as connection:
            # The dump and the list of recordings are of the same moment.
            connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
            connection.execute("SET LOCAL idle_in_transaction_session_timeout = 0")
            row = connection.execute("SELECT pg_export_snapshot()").fetchone()
            assert row is not None
            postgresql_tools.dump(self.address, folder / "book.pgdump", snapshot=row[0])
            return connection.execute("SELECT sha256, extension FROM sound").fetchall()

    def revision(self) -> str:
        """The version of the book's tables.

        Raises
        ------
        BookError
            When the database holds no book, or cannot be used.
        """
        return self.glance()[0]

    def glance(self) -> tuple[str, tuple[object, ...], tuple[tuple[int, str], ...]]:
        """Version, state and organs of the book, without changing anything.

        Equal states mean equal records: rows are committed in the order of their numbers and never
        removed, and closing a visit is counted.
        """
        try:
            with closing(self.connect()) as connection:
                connection.execute("BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY")
                return self._glance(connection)
        except psycopg.Error as error:
            raise postgresql_trouble.of(error, self.address) from error

    def _glance(
        self, connection: psycopg.Connection[Any]
    ) -> tuple[str, tuple[object, ...], tuple[tuple[int, str], ...]]:
        found = connection.execute(
            "SELECT to_regclass('alembic_version') IS NOT NULL"
            " AND to_regclass('description') IS NOT NULL"
        ).fetchone()
        if found != (True,):
            raise self._error(
                "There is no book in this database.",
                "Check the address, or make a new book in another folder.",
            )
        revisions = connection.execute("SELECT version_num FROM alembic_version").fetchall()
        revision = str(revisions[0][0]) if len(revisions) == 1 else ""
        if revision != HEAD_REVISION:
            return revision, (), ()
        organs = connection.execute(
            "SELECT DISTINCT ON (organ_id) organ_id, name FROM description"
            " ORDER BY organ_id, version DESC"
        ).fetchall()
        tables = connection.execute(
            "SELECT table_name FROM information_schema.columns WHERE column_name = 'id'"
            " AND table_schema = current_schema() ORDER BY 1"
        ).fetchall()
        asked = [f'(SELECT max(id) FROM "{name}")' for (name,) in tables]  # noqa: S608 - its own
        asked += [
            "(SELECT count(*) FROM sound)",
            "(SELECT count(closed_at) FROM visit)",
            "(SELECT oid::bigint FROM pg_database WHERE datname = current_database())",
        ]
        state = connection.execute(f"SELECT {', '.join(asked)}").fetchone()
        assert state is not None
        return revision, tuple(state), tuple(organs)

    def _arguments(self, wait_s: float) -> dict[str, Any]:
        try:
            given: dict[str, Any] = dict(conninfo_to_dict(self.address))
        except psycopg.ProgrammingError as error:
            raise self._error(f"The address is not complete ({error}).", _ADDRESS_FORM) from error
        # Settings of the session that travel with the connection, so that they cost no round trip.
        settings = (
            f"-c lock_timeout={max(1, round(1000 * wait_s))}"
            f" -c idle_in_transaction_session_timeout={1000 * _DEAD_CLIENT_S}"
            " -c client_encoding=UTF8"
        )
        given["options"] = f"{given.get('options', '')} {settings}".strip()
        defaults = {
            "connect_timeout": _CONNECT_S,
            "application_name": "walkboard",
            # A line that was cut is noticed within half a minute, in both directions.
            "keepalives_idle": 10,
            "keepalives_interval": 5,
            "keepalives_count": 3,
            "tcp_user_timeout": 25_000,
        }
        return {**defaults, **given}

    def _error(self, what: str, fix: str) -> BookError:
        return BookError(what, where=self.address, fix=fix)


OLDEST_SERVER = 130000  # the oldest that PostgreSQL still maintained when this was written
_ADDRESS_FORM = "Write it as postgresql://USER@HOST/DATABASE."


_SNAPSHOT = "SELECT pg_current_snapshot()::text"


class PostgresqlWatch:
    """Counts the changes of the server's snapshot (pg_current_snapshot: which commits are visible).

    Equal snapshots see equal rows. Writers to other databases of the server change it too, so a
    change may be reported where there is none, never the reverse.
    """

    def __init__(self, engine: Engine) -> None:
        self._engine = engine.execution_options(isolation_level="AUTOCOMMIT")
        self._lock = threading.Lock()
        self._seen: object = None
        self._number = 0

    def number(self, connection: Connection | None = None) -> int:
        """See `Watch.number`."""
        if connection is None:
            with self._engine.connect() as own:
                now = own.exec_driver_sql(_SNAPSHOT).scalar()
        else:
            now = connection.exec_driver_sql(_SNAPSHOT).scalar()
        with self._lock:
            if now != self._seen:
                self._seen = now
                self._number += 1
            return self._number

    def close(self) -> None:
        """See `Watch.close`."""


def _lock_to_write(connection: Connection) -> None:
    if connection.get_execution_options().get(_WRITES):
        connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")


def _refuse_dead(connection: Any, entry: ConnectionPoolEntry, _: object) -> None:
    """Test a connection that was idle for long; SQLAlchemy then opens another if it is dead."""
    if monotonic() - entry.info.get("idle_since_s", monotonic()) < _IDLE_S:
        return
    before = connection.autocommit
    try:
        connection.autocommit = True
        connection.execute("SELECT 1")
        connection.autocommit = before
    except psycopg.Error as error:
        raise DisconnectionError from error
