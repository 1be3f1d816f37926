"""The file in a book's folder that names the PostgreSQL database with its records.

It never holds a password: PostgreSQL's own client library takes that from ``~/.pgpass``, from
``PGPASSWORD`` or from a certificate (postgresql.org/docs, libpq).
"""

from __future__ import annotations

import json
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

from walkboard.book.files import trouble
from walkboard.book.files.folder import ADDRESS
from walkboard.errors import BookError
from walkboard.parsing import toml_table

SCHEMES = ("postgresql://", "postgres://")


def names_server(book: Path) -> bool:
    """Whether a folder is a book whose records are on a server."""
    return (book / ADDRESS).is_file()


def read_address(book: Path) -> str:
    """The address in a book's folder.

    Raises
    ------
    BookError
        When the file cannot be read or names no PostgreSQL database.
    """
    file = book / ADDRESS
    try:
        found = toml_table(file.read_text(encoding="utf-8")).get("database")
    except OSError as error:
        raise trouble.of_disk(error, book) from error
    except ValueError as error:
        raise _unusable(file, f"it is not TOML: {error}") from error
    if not isinstance(found, str):
        raise _unusable(file, "it has no 'database'")
    return checked(found, where=str(file))


def write_address(book: Path, address: str) -> None:
    """Name the database in a folder."""
    text = (
        "# The records of this book are in a PostgreSQL database; the recordings are beside this\n"
        "# file. Passwords belong in ~/.pgpass, never here.\n"
        f"database = {json.dumps(address, ensure_ascii=False)}\n"
    )
    (book / ADDRESS).write_text(text, encoding="utf-8")


def checked(address: str, *, where: str = "") -> str:
    """An address that may be stored.

    Raises
    ------
    BookError
        When it is not one of PostgreSQL, or holds a password.
    """
    if not address.startswith(SCHEMES):
        raise BookError(
            "This does not name a PostgreSQL database.",
            where=where or address,
            fix="Write it as postgresql://USER@HOST/DATABASE.",
        )
    try:
        parts = urlsplit(address)
        has_password = parts.password is not None or "password" in parse_qs(parts.query)
    except ValueError as error:
        raise _unusable(Path(where or address), str(error)) from error
    if has_password:
        raise BookError(
            "The address of the database holds a password, which everyone who may read the book's"
            " folder would see.",
            where=where or parts.hostname or "",
            fix="Leave it out, and put the password in ~/.pgpass, or set PGPASSWORD.",
        )
    return address


def _unusable(file: Path, why: str) -> BookError:
    return BookError(
        f"The address of the book's database cannot be read ({why}).",
        where=str(file),
        fix='It has one line: database = "postgresql://USER@HOST/DATABASE".',
    )
