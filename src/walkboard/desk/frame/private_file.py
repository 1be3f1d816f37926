"""Files in a book's folder that their owner alone may read."""

from __future__ import annotations

import os
from pathlib import Path


def write_private(file: Path, content: bytes) -> None:
    """Write a file that its owner alone may read, completely or not at all."""
    part = file.with_suffix(".part")
    handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(handle, "wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    part.replace(file)
