"""PostgreSQL's own programs for backing up: ``pg_dump``."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

from walkboard.book.files import trouble
from walkboard.book.files.folder import sync_file, sync_folder
from walkboard.errors import BookError

_DEBIAN = Path("/usr/lib/postgresql")  # Debian keeps each version's programs apart here


def pg_dump() -> str | None:
    """The newest ``pg_dump`` of this computer."""
    versions = sorted(
        _DEBIAN.glob("*/bin/pg_dump"), key=lambda path: _number(path.parent.parent.name)
    )
    return str(versions[-1]) if versions else shutil.which("pg_dump")


def dump(address: str, target: Path, *, snapshot: str | None = None) -> None:
    """Back up a database to a file for ``pg_restore``; it gets its name once it is complete.

    Parameters
    ----------
    address : str
    target : Path
    snapshot : str or None
        A moment that an open transaction has exported; None: now.

    Raises
    ------
    BookError
        When ``pg_dump`` is missing or fails.
    """
    program = pg_dump()
    if program is None:
        raise BookError(
            "A backup of this book needs pg_dump of PostgreSQL, which is not installed here.",
            where=address,
            fix="Install it (Debian: apt install postgresql-client), or do this at the server.",
        )
    part = target.with_name(f".{target.name}.part")
    moment = [] if snapshot is None else [f"--snapshot={snapshot}"]
    asked = [program, "--format=custom", "--no-owner", "--no-privileges", "--no-password"]
    try:
        done = subprocess.run(  # noqa: S603 - found above; the address was checked
            [*asked, *moment, f"--file={part}", f"--dbname={address}"],
            capture_output=True,
            text=True,
            check=False,
        )
        if done.returncode:
            raise BookError(
                f"The database could not be backed up ({' '.join(done.stderr.split())}).",
                where=address,
                fix="The book is unchanged. pg_dump must be as new as the server.",
            )
        sync_file(part)
        part.replace(target)
        sync_folder(target.parent)
    except OSError as error:
        raise trouble.of_disk(error, target.parent) from error
    finally:
        part.unlink(missing_ok=True)


def _number(version: str) -> float:
    found = re.match(r"\d+(\.\d+)?", version)
    return float(found[0]) if found else 0.0
