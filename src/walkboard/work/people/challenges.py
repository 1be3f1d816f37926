"""Challenges for passkeys that the desk need not remember.

A challenge carries when it ends and a code (HMAC, RFC 2104) under a key that lives as long as the
desk runs. Strangers may ask for as many as they like: none takes room, and none pushes out another.
Only one that was answered correctly is remembered until it ends, so that it works once.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
import struct
import threading
import time
from collections.abc import Callable

LASTS_S = 300.0  # chosen: finding the phone and its finger
_NONCE, _MAC = 16, 16  # bytes
_END = struct.Struct(">d")


class Challenges:
    """Makes challenges and recognises them.

    Parameters
    ----------
    clock_s : callable
        Monotonic [s].
    """

    def __init__(self, clock_s: Callable[[], float] = time.monotonic) -> None:
        self._key = secrets.token_bytes(32)
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._used: dict[bytes, float] = {}

    def new(self, purpose: str) -> bytes:
        """A challenge for one purpose only.

        Parameters
        ----------
        purpose : str
            What it is good for, and for whom where that is known.
        """
        head = secrets.token_bytes(_NONCE) + _END.pack(self._clock_s() + LASTS_S)
        return head + self._mac(head, purpose)

    def is_ours(self, challenge: bytes, purpose: str) -> bool:
        """Whether it was made for this purpose, still lasts, and was not used."""
        head, mac = challenge[:-_MAC], challenge[-_MAC:]
        if len(challenge) != _NONCE + _END.size + _MAC:
            return False
        if not hmac.compare_digest(mac, self._mac(head, purpose)):
            return False
        with self._lock:
            (ends_s,) = _END.unpack(head[_NONCE:])
            return bool(ends_s > self._clock_s()) and challenge not in self._used

    def use(self, challenge: bytes) -> bool:
        """Use it up; False if somebody did before."""
        now = self._clock_s()
        with self._lock:
            self._used = {one: ends for one, ends in self._used.items() if ends > now}
            if challenge in self._used:
                return False
            self._used[challenge] = now + LASTS_S
            return True

    def _mac(self, head: bytes, purpose: str) -> bytes:
        return hmac.digest(self._key, head + purpose.encode(), hashlib.sha256)[:_MAC]
