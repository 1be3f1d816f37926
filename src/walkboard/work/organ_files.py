"""Organ descriptions from files."""

from __future__ import annotations

from pathlib import Path

from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.organ.reading import read_organ


def load_organ(path: Path) -> Organ:
    """Read and check the description in a file.

    Raises
    ------
    DescriptionError
        With every problem of the description.
    InputError
        When the file cannot be read or is not text.
    """
    return read_organ(read_text(path), where=str(path))


def read_text(path: Path) -> str:
    """Text of a UTF-8 file; InputError if it cannot be read."""
    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise InputError(
            f"The file is not text in UTF-8 (line {line}).",
            where=str(path),
            fix="Save it from a text editor as UTF-8.",
        ) from None


def require_file(path: Path) -> None:
    """OSError for something that is not a file: reading a named pipe would wait forever."""
    if path.exists() and not path.is_file():
        raise OSError("it is not a file")


def cannot_read(path: Path, error: OSError) -> InputError:
    """The error for a file that could not be read."""
    if isinstance(error, FileNotFoundError):
        return InputError("There is no such file.", where=str(path), fix="Check the name.")
    if isinstance(error, IsADirectoryError):
        return InputError("This is a folder, not a file.", where=str(path), fix="Name the file.")
    reason = error.strerror or str(error) or type(error).__name__
    return InputError(f"The file cannot be read: {reason}.", where=str(path))
