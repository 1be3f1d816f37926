"""Names of facts: UUIDs of version 7 (RFC 9562, 5.7) whose order is the order in which they count.

A uid begins with milliseconds since 1970 and a counter. Each is later than every uid its author
had in the book, so sorting uids puts a fact after all that its author knew, whatever the clocks
showed. Facts written without knowing of each other are ordered by the clocks of their devices.
"""

from __future__ import annotations

import os

_COUNTER_BITS = 12  # rand_a as a counter: RFC 9562, 6.2, method 1
_COUNTER_END = 1 << _COUNTER_BITS
_RANDOM_BYTES = 8  # 62 bits of them are used


def next_uid(after: str, at_ms: int, random: bytes | None = None) -> str:
    """A uid later than another one.

    Parameters
    ----------
    after : str
        The latest uid so far; empty if there is none.
    at_ms : int
        What the clock shows, in milliseconds since 1970.
    random : bytes or None
        Eight bytes; None: from the system.
    """
    last_ms, last_count = parts_of(after) if after else (-1, 0)
    if at_ms > last_ms:
        return _uid(at_ms, 0, random)
    if last_count + 1 < _COUNTER_END:
        return _uid(last_ms, last_count + 1, random)
    return _uid(last_ms + 1, 0, random)


def parts_of(uid: str) -> tuple[int, int]:
    """The milliseconds and the counter of a uid.

    Raises
    ------
    ValueError
        If it is not one of version 7.
    """
    digits = uid.replace("-", "")
    if len(digits) != 32 or digits[12] != "7":
        raise ValueError(f"not a UUID of version 7: {uid!r}")
    return int(digits[:12], 16), int(digits[13:16], 16)


def _uid(ms: int, count: int, random: bytes | None) -> str:
    bits = int.from_bytes(os.urandom(_RANDOM_BYTES) if random is None else random)
    low = (bits & ((1 << 62) - 1)) | (1 << 63)  # variant 10
    return (
        f"{ms >> 16:08x}-{ms & 0xFFFF:04x}-7{count:03x}-{low >> 48:04x}-{low & (1 << 48) - 1:012x}"
    )
