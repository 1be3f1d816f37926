"""Files that were sent and wait for their sender to say how they are meant."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

_MOST_FILES, _MOST_BYTES = 8, 64 << 20  # that wait at a time. Chosen.


@dataclass(frozen=True, slots=True)
class Upload:
    """A file as it was sent.

    Attributes
    ----------
    organ_id : int
    name : str
    place : str
        The place that it was said to be from.
    data : bytes
    """

    organ_id: int
    name: str
    place: str
    data: bytes


class Uploads:
    """Files by the word that their sender got for each; the oldest go when there are too many."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._files: OrderedDict[str, Upload] = OrderedDict()

    def keep(self, upload: Upload) -> str:
        """Keep a file; the word to ask for it with."""
        token = secrets.token_urlsafe(12)
        with self._lock:
            self._files[token] = upload
            while len(self._files) > _MOST_FILES or (
                len(self._files) > 1
                and sum(len(u.data) for u in self._files.values()) > _MOST_BYTES
            ):
                self._files.popitem(last=False)
        return token

    def get(self, token: str, organ_id: int) -> Upload | None:
        """A file of an organ that still waits."""
        with self._lock:
            found = self._files.get(token)
        return found if found is not None and found.organ_id == organ_id else None

    def drop(self, token: str) -> None:
        """Let go of a file that was dealt with."""
        with self._lock:
            self._files.pop(token, None)
