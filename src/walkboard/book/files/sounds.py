"""The recordings themselves: files named by the SHA-256 of their content (FIPS 180-4).

A file is copied and hashed in one stream, synced to disk, and only then given its name, so a name
always means the whole content.
"""

from __future__ import annotations

import hashlib
import os
import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from walkboard.book.files import trouble
from walkboard.book.files.folder import INCOMING, RECORDINGS, sync_folder
from walkboard.errors import InputError

_CHUNK_BYTES = 1 << 20
_EXTENSION = re.compile(r"[a-z0-9]{1,8}")
_NAME = re.compile(r"[0-9a-f]{64}\.[a-z0-9]{1,8}")


@dataclass(frozen=True, slots=True)
class Incoming:
    """A recording copied into the book's folder but not named yet.

    Attributes
    ----------
    part : Path
        Path of the copy.
    sha256, extension : str
    bytes : int
    """

    part: Path
    sha256: str
    extension: str
    bytes: int

    def drop(self) -> None:
        """Remove the copy, if it still exists."""
        self.part.unlink(missing_ok=True)


class SoundFolder:
    """The ``recordings`` folder of a book.

    Parameters
    ----------
    book : Path
        The book's folder.
    """

    def __init__(self, book: Path) -> None:
        self._book = book
        self.path = book / RECORDINGS

    def path_of(self, sha256: str, extension: str) -> Path:
        """The path of a content, whether it exists or not."""
        return self.path / sha256[:2] / f"{sha256}.{extension}"

    def copy_in(self, source: Path) -> Incoming:
        """Copy a file in, without a name yet, hashing it on the way in pieces of 1 MiB.

        Raises
        ------
        InputError
            When the source cannot be read.
        BookError
            When the copy cannot be written: a full disk, no permission.
        """
        try:
            if not source.is_file():
                source.stat()  # raises if it does not exist or may not be read
                raise OSError("it is not a file")
            reader = source.open("rb")
        except OSError as error:
            raise _unreadable(source, error) from error
        with reader, self._telling():
            incoming = self.path / INCOMING
            # Without parents: a book that was moved away must not come back as a folder.
            for folder in (self.path, incoming):
                folder.mkdir(exist_ok=True)
            part = incoming / f"{uuid.uuid4().hex}.part"
            digest, size = hashlib.sha256(), 0
            try:
                with part.open("xb") as writer:
                    for chunk in _chunks(reader, source):
                        digest.update(chunk)
                        size += writer.write(chunk)
                    writer.flush()
                    os.fsync(writer.fileno())
            except BaseException:
                part.unlink(missing_ok=True)
                raise
        return Incoming(part, digest.hexdigest(), _extension_of(source), size)

    def give_name(self, incoming: Incoming, extension: str) -> Path:
        """Move a copy to its name, replacing an older file of the same content.

        Raises
        ------
        BookError
            When it cannot be moved.
        """
        target = self.path_of(incoming.sha256, extension)
        with self._telling():
            target.parent.mkdir(exist_ok=True)
            incoming.part.replace(target)
            for folder in (target.parent, self.path, self._book):
                sync_folder(folder)
        return target

    def named(self) -> Iterator[Path]:
        """Every file named as a content, in its place."""
        return (Path(path) for path, is_named in self.files() if is_named)

    def files(self) -> Iterator[tuple[str, bool]]:
        """The path of every file in the folder but leftovers; whether it is named as a content."""
        # As texts: making thousands of Path objects takes longer than hashing short recordings.
        leftovers = {str(path) for path in self.leftovers()}
        for folder, folders, names in os.walk(self.path):
            folders.sort()
            inside = os.path.relpath(folder, self.path)
            for name in sorted(names):
                path = os.path.join(folder, name)
                is_named = inside == name[:2] and _NAME.fullmatch(name) is not None
                if is_named or (os.path.isfile(path) and path not in leftovers):
                    yield path, is_named

    def leftovers(self) -> Iterator[Path]:
        """Unnamed copies: being made now, or left by a killed program."""
        yield from sorted((self.path / INCOMING).glob("*.part"))

    @contextmanager
    def _telling(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise trouble.of_disk(error, self._book) from error


def sha256_of(path: Path) -> str:
    """SHA-256 of a file's content, read in pieces."""
    with path.open("rb") as reader:
        return hashlib.file_digest(reader, "sha256").hexdigest()


def _chunks(reader: BinaryIO, source: Path) -> Iterator[bytes]:
    while True:
        try:
            chunk = reader.read(_CHUNK_BYTES)
        except OSError as error:
            raise _unreadable(source, error) from error
        if not chunk:
            return
        yield chunk


def _extension_of(source: Path) -> str:
    extension = source.suffix.removeprefix(".").lower()
    return extension if _EXTENSION.fullmatch(extension) else "sound"


def _unreadable(source: Path, error: OSError) -> InputError:
    return InputError(
        f"The recording cannot be read ({error.strerror or error}).",
        where=str(source),
        fix="Check the name and that you may read it.",
    )
