"""Files that the use cases write."""

from __future__ import annotations

import os
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from walkboard.errors import InputError


@contextmanager
def writing(to: Path, *, what: str) -> Iterator[BinaryIO]:
    """A file to write, which appears under its name only when it is whole.

    Parameters
    ----------
    to : Path
        Replaced if it exists; a device or pipe is written to directly.
    what : str
        What the file is, for the message.

    Raises
    ------
    InputError
        If the system does not write it; an older file of that name stays as it was.
    """
    is_plain = not to.exists() or to.is_file()
    part = to.with_name(f".{uuid.uuid4().hex}.part") if is_plain else to
    try:
        with part.open("wb") as stream:
            yield stream
            if is_plain:
                stream.flush()
                os.fsync(stream.fileno())
        if is_plain:
            part.replace(to)
    except OSError as error:
        raise InputError(
            f"The {what} cannot be written: {error.strerror or error}.",
            where=str(to),
            fix="Choose another place.",
        ) from None
    finally:
        if is_plain:
            with suppress(OSError):
                part.unlink(missing_ok=True)


def write_file(data: bytes, to: Path, *, what: str) -> Path:
    """Write a file whole, as `writing` does."""
    with writing(to, what=what) as stream:
        stream.write(data)
    return to
