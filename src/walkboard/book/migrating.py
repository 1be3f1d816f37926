"""Migrates the tables of a book to the newest version, after backing up the database.

Alembic's revisions are in ``migrations/versions``. They run inside one SQLite transaction, which
also rolls back changes of tables, so a book has the old version or the new, never something
between.
"""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from sqlalchemy import Connection
from sqlalchemy.exc import DBAPIError

from walkboard.book import counting, trouble
from walkboard.book.folder import (
    APPLICATION_ID,
    DATABASE,
    HEAD_REVISION,
    sync_file,
    sync_folder,
)
from walkboard.book.storing import for_writing, make_engine
from walkboard.errors import BookError

_SCRIPTS = Path(__file__).parent / "migrations"


def scripts() -> ScriptDirectory:
    """The revisions known to this program."""
    return ScriptDirectory(str(_SCRIPTS))


def known_revisions() -> tuple[str, ...]:
    """Their names, oldest first."""
    return tuple(reversed([script.revision for script in scripts().walk_revisions()]))


def build_database(database: Path, *, revision: str = HEAD_REVISION) -> None:
    """Create an empty database at a revision."""
    with closing(sqlite3.connect(database)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    _in_one_transaction(database, wait_s=0.0, revision=revision)
    sync_file(database)


def bring_up(book: Path, *, wait_s: float) -> None:
    """Migrate an older book to the newest version; its database is backed up first.

    The copy is in the book's folder as ``book-of-form-0001.sqlite``, named after the old version.

    Raises
    ------
    BookError
        If another program writes, the disk is full, or the migration fails; the book is then
        unchanged.
    """
    _in_one_transaction(book / DATABASE, wait_s=wait_s, revision=HEAD_REVISION, keep_in=book)


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


def _in_one_transaction(
    database: Path, *, wait_s: float, revision: str, keep_in: Path | None = None
) -> None:
    # Rebuilding a table needs foreign keys off, which cannot be set inside a transaction; they are
    # checked before the commit instead.
    engine = make_engine(database, wait_s=wait_s, foreign_keys="OFF")
    try:
        with for_writing(engine).connect() as connection, connection.begin():
            old = MigrationContext.configure(connection).get_current_revision()
            if old == revision:
                return  # another program was faster
            if keep_in is not None:
                copy_database(database, keep_in / f"book-of-form-{old}.sqlite")
            _upgrade(connection, revision)
            broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
            if broken:
                raise BookError(
                    f"The book cannot be migrated to the newest version: {len(broken)} of its rows"
                    " would name rows that do not exist.",
                    where=str(database.parent),
                    fix="The book is unchanged; keep using the program that wrote it.",
                )
    except DBAPIError as error:
        if isinstance(error.orig, sqlite3.Error):
            raise trouble.of_sqlite(error.orig, database.parent) from error
        raise
    except sqlite3.Error as error:
        raise trouble.of_sqlite(error, database.parent) from error
    except OSError as error:
        raise trouble.of_disk(error, database.parent) from error
    finally:
        engine.dispose()


def _upgrade(connection: Connection, revision: str) -> None:
    directory = scripts()
    context = MigrationContext.configure(connection)
    pending = directory.iterate_revisions(revision, context.get_current_revision() or "base")
    counting.drop(connection)
    with Operations.context(context):
        for script in reversed(list(pending)):
            script.module.upgrade()
            context.stamp(directory, script.revision)
    if revision == HEAD_REVISION:
        counting.install(connection)
