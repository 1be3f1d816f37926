"""Recordings on disk, or in object storage by URL (fsspec: s3://, gs://, https:// and others)."""

from __future__ import annotations

import hashlib
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path, PurePosixPath
from typing import BinaryIO

from walkboard.errors import InputError
from walkboard.work.organ_files import cannot_read

_BLOCK = 1 << 20


@contextmanager
def at_hand(sound: str, sha256: str) -> Iterator[Path]:
    """A recording as a file of this machine, checked against its hash.

    Parameters
    ----------
    sound : str
        Path or URL.
    sha256 : str

    Raises
    ------
    InputError
        If it cannot be read, or is another recording.
    """
    if "://" not in sound:
        path = Path(sound)
        try:
            with path.open("rb") as stream:
                _check(stream, None, sha256, sound)
        except OSError as error:
            raise cannot_read(path, error) from error
        yield path
        return
    with tempfile.TemporaryDirectory(prefix="walkboard-") as folder:
        path = Path(folder) / PurePosixPath(sound).name
        with _remote(sound) as stream, path.open("wb") as copy:
            _check(stream, copy, sha256, sound)
        yield path


@contextmanager
def _remote(url: str) -> Iterator[BinaryIO]:
    try:
        import fsspec
    except ImportError:
        raise InputError(
            "Object storage needs an extra that is not installed.",
            where=url,
            fix="Install it: pip install 'walkboard[archive]'.",
        ) from None
    try:
        with fsspec.open(url, "rb") as stream:
            yield stream
    except InputError:
        raise
    except Exception as error:  # each storage has its own errors
        raise InputError(
            f"The recording cannot be read: {error}.",
            where=url,
            fix="Check the address and the storage's credentials.",
        ) from error


def _check(stream: BinaryIO, copy: BinaryIO | None, sha256: str, where: str) -> None:
    whole = hashlib.sha256()
    while block := stream.read(_BLOCK):
        whole.update(block)
        if copy is not None:
            copy.write(block)
    if whole.hexdigest() != sha256:
        raise InputError(
            "This is not the recording that the book has: its hash differs.",
            where=where,
            fix="Restore it from a copy of the book.",
        )
