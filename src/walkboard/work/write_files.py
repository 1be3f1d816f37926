"""Files that the use cases write."""

from __future__ import annotations

from pathlib import Path

from walkboard.errors import InputError


def write_file(data: bytes, to: Path, *, what: str) -> Path:
    """Write a file; InputError, naming `what` it is, where the system will not."""
    try:
        to.write_bytes(data)
    except OSError as error:
        raise InputError(
            f"The {what} cannot be written: {error.strerror}.",
            where=str(to),
            mend="Choose another place.",
        ) from None
    return to
