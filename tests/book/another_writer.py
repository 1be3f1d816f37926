"""Another program that holds a book's write lock, whichever database the book is in."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

from walkboard.book.database.address import names_server, read_address
from walkboard.book.files.folder import DATABASE


@contextmanager
def another_writer(folder: Path) -> Iterator[Any]:
    """A connection of another program that holds the book's write lock."""
    if names_server(folder):
        from walkboard.book.database.postgresql import WRITE_LOCK, PostgresqlDatabase

        server = PostgresqlDatabase(folder, read_address(folder))
        with closing(server.connect()) as connection:
            connection.execute("BEGIN")
            connection.execute(f"SELECT pg_advisory_xact_lock({WRITE_LOCK})")
            yield connection
        return
    with closing(sqlite3.connect(folder / DATABASE, isolation_level=None)) as connection:
        connection.execute("BEGIN IMMEDIATE")
        yield connection
        if connection.in_transaction:
            connection.execute("ROLLBACK")
