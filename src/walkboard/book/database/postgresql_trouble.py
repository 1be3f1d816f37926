"""Turns errors of PostgreSQL and of the line to it into a `BookError` that says what to do.

By SQLSTATE (postgresql.org/docs, appendix A); the longest listed beginning of it counts.
"""

from __future__ import annotations

import psycopg

from walkboard.errors import BookError

_SAYINGS = {
    "55P03": (
        "Another program is writing to this book.",
        "Wait until it is done, then try again; nothing was changed.",
    ),
    "40": (
        "Another program is writing to this book.",
        "Try again; nothing was changed.",
    ),
    "28": (
        "The database server did not accept the user or the password.",
        "Check the user in the address, and put the password in ~/.pgpass.",
    ),
    "3D000": (
        "There is no such database on the server.",
        "Check its name in the address, or make it with createdb.",
    ),
    "42501": (
        "This user has no permission in the database.",
        "Connect as a user who owns the book's tables, or is a member of their owner.",
    ),
    "25006": (
        "The database cannot be written to.",
        "Connect to the server that takes changes, not to its replica.",
    ),
    "53100": (
        "The disk of the database server is full.",
        "Make room and try again; earlier work is safe, nothing of this was stored.",
    ),
    "53300": (
        "The database server has no free connection.",
        "Close other programs, or raise the server's max_connections.",
    ),
    "57P": (
        "The database server is shutting down or starting.",
        "Try again in a moment; earlier work is safe.",
    ),
    "25P03": (
        "The database server ended this connection because it was silent too long.",
        "Try again; nothing was changed.",
    ),
    "XX001": (
        "The server reports that the database is damaged.",
        "Restore the newest backup; keep the damaged database until that is done.",
    ),
    "XX002": (
        "The server reports that an index of the database is damaged.",
        "Rebuild it with REINDEX DATABASE, or restore the newest backup.",
    ),
    "22021": (
        "The text contains characters that cannot be stored.",
        "Remove them.",
    ),
}


def of(error: psycopg.Error, address: str) -> BookError:
    """The `BookError` for an error of the driver.

    Parameters
    ----------
    error : psycopg.Error
    address : str
        The database's, as the book's folder names it.
    """
    state = error.sqlstate or ""
    for length in (5, 3, 2):
        if state[:length] in _SAYINGS:
            what, fix = _SAYINGS[state[:length]]
            return BookError(what, where=address, fix=fix)
    said = " ".join(str(error).split())
    if isinstance(error, psycopg.DataError) and "NUL" in said:
        what, fix = _SAYINGS["22021"]
        return BookError(what, where=address, fix=fix)
    if not state and isinstance(error, psycopg.OperationalError):
        return _of_line(said, address)
    return BookError(
        f"The book's database could not be read or written ({said}).",
        where=address,
        fix="Check the server; earlier work is safe, nothing of this was stored.",
    )


def _of_line(said: str, address: str) -> BookError:
    """No SQLSTATE: the server did not answer, refused, or the line was cut."""
    # A refusal at sign-in has no SQLSTATE in libpq, only its English message.
    for state, mark in (
        ("28", "password"),
        ("28", "authentication failed"),
        ("28", "no pg_hba.conf entry"),
        ("3D000", "does not exist"),
        ("53300", "too many"),
        ("57P", "starting up"),
        ("57P", "shutting down"),
    ):
        if mark in said:
            what, fix = _SAYINGS[state]
            return BookError(f"{what} The server says: {said}.", where=address, fix=fix)
    return BookError(
        f"The database server cannot be reached ({said}).",
        where=address,
        fix="Check that it runs and that this computer may connect to it, then try again. What was"
        " just sent may or may not be stored; look before entering it again.",
    )
