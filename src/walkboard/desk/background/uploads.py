"""Uploaded files waiting for the sender to confirm how to read them."""

from __future__ import annotations

import secrets
import threading
from collections import OrderedDict
from dataclasses import dataclass

_MOST_FILES, _MOST_BYTES = 8, 64 << 20  # waiting at a time. Chosen.


@dataclass(frozen=True, slots=True)
class Upload:
    """An uploaded file.

    Attributes
    ----------
    organ_id : int
    name : str
    place : str
        The place given for it.
    data : bytes
    """

    organ_id: int
    name: str
    place: str
    data: bytes


class Uploads:
    """Files by their token; the oldest are dropped if there are too many."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._files: OrderedDict[str, Upload] = OrderedDict()

    def keep(self, upload: Upload) -> str:
        """Store a file; returns its token."""
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
        """A waiting file of an organ."""
        with self._lock:
            found = self._files.get(token)
        return found if found is not None and found.organ_id == organ_id else None

    def drop(self, token: str) -> None:
        """Drop a file that is done."""
        with self._lock:
            self._files.pop(token, None)
