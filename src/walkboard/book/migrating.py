"""Migrates the tables of a book to the newest version, after backing up the database.

Alembic's revisions are in ``migrations/versions``. They run inside one transaction, which in SQLite
and PostgreSQL also rolls back changes of tables, so a book has the old version or the new, never
something between.
"""

from __future__ import annotations

from pathlib import Path

from alembic.migration import MigrationContext
from alembic.operations import Operations
from alembic.script import ScriptDirectory
from sqlalchemy import Connection

from walkboard.book.database.choosing import database_of
from walkboard.book.database.dialect import Database
from walkboard.book.files import trouble
from walkboard.book.files.folder import HEAD_REVISION
from walkboard.book.rows import counting
from walkboard.errors import BookError

_SCRIPTS = Path(__file__).parent / "migrations"


def scripts() -> ScriptDirectory:
    """The revisions known to this program."""
    return ScriptDirectory(str(_SCRIPTS))


def known_revisions() -> tuple[str, ...]:
    """Their names, oldest first."""
    return tuple(reversed([script.revision for script in scripts().walk_revisions()]))


def build_tables(database: Database, *, revision: str = HEAD_REVISION) -> None:
    """Make the tables of an empty book, at a revision, in a database just created."""
    _in_one_transaction(database, wait_s=0.0, revision=revision, keeps_old=False)
    database.sync()


def bring_up(book: Path, *, wait_s: float, keeps_old: bool = True) -> None:
    """Migrate an older book to the newest version; its database is backed up first.

    The copy is in the book's folder as ``book-of-form-0001.sqlite`` (on a server
    ``book-of-form-0001.pgdump``), named after the old version.

    Parameters
    ----------
    book : Path
    wait_s : float
        How long to wait for another program to finish [s].
    keeps_old : bool
        False while a book is being made, of which there is nothing to back up.

    Raises
    ------
    BookError
        If another program writes, the disk is full, or the migration fails; the book is then
        unchanged.
    """
    _in_one_transaction(
        database_of(book), wait_s=wait_s, revision=HEAD_REVISION, keeps_old=keeps_old
    )


def _in_one_transaction(
    database: Database, *, wait_s: float, revision: str, keeps_old: bool
) -> None:
    # Rebuilding a table needs foreign keys off, which cannot be set inside a transaction; they are
    # checked before the commit instead.
    book = database.marker.parent
    try:
        engine = database.engine(wait_s=wait_s, checks_references=False)
        try:
            with database.for_writing(engine).connect() as connection, connection.begin():
                old = MigrationContext.configure(connection).get_current_revision()
                if old == revision:
                    return  # another program was faster
                if keeps_old:
                    database.set_aside(connection, str(old))
                _upgrade(connection, revision)
                dangling = database.dangling(connection)
                if dangling:
                    raise BookError(
                        f"The book cannot be migrated to the newest version: {dangling} of its rows"
                        " would name rows that do not exist.",
                        where=str(book),
                        fix="The book is unchanged; keep using the program that wrote it.",
                    )
        finally:
            engine.dispose()
    except OSError as error:
        raise trouble.of_disk(error, book) from error
    except Exception as error:
        known = database.trouble_of(error)
        if known is None:
            raise
        raise known from error


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
