"""Which database a book's folder has."""

from __future__ import annotations

from pathlib import Path

from walkboard.book.database.address import names_server, read_address
from walkboard.book.database.dialect import Database
from walkboard.book.database.sqlite import SqliteDatabase


def database_of(book: Path) -> Database:
    """The database with the records of a book.

    Raises
    ------
    BookError
        When the folder names a server's database that cannot be used.
    """
    if names_server(book):
        from walkboard.book.database.postgresql import (  # noqa: PLC0415 - loads its driver
            PostgresqlDatabase,
        )

        return PostgresqlDatabase(book, read_address(book))
    return SqliteDatabase(book)
