"""Pairing: a code that works once and soon runs out gives a device a cookie that can be revoked.

The server stores only the cookie's hash, in a small file beside the book's database, so a device
stays paired after a restart; copies and exports of the book contain none.
"""

from __future__ import annotations

import hashlib
import hmac
import json
import secrets
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from walkboard.desk.frame.private_file import write_private

COOKIE = "walkboard_device"
COOKIE_SECONDS = 180 * 86_400
FILE = "paired-devices.json"
CODE_SECONDS = 120.0
CODE_LENGTH = 8
# Crockford's letters without those that are read for another: 32⁸ is 2⁴⁰ codes.
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_READ_AS = str.maketrans({"O": "0", "I": "1", "L": "1", "-": None, " ": None})
_MOST_TRIES = 5  # at one code, from one address; chosen
LONGEST_NAME = 40


@dataclass(frozen=True, slots=True)
class Code:
    """A code on display.

    Attributes
    ----------
    letters : str
    ends_s : float
        By the monotonic clock [s].
    """

    letters: str
    ends_s: float


@dataclass(frozen=True, slots=True)
class Device:
    """A paired device; `hash` is of its cookie."""

    id: str
    name: str
    hash: str
    paired_at: str


class Devices:
    """The paired devices of a book, kept in its folder.

    Parameters
    ----------
    folder : Path
    """

    def __init__(self, folder: Path) -> None:
        self._path = folder / FILE
        self._lock = threading.Lock()
        self._devices = self._read()

    def all(self) -> tuple[Device, ...]:
        """Every paired device, oldest first."""
        return tuple(self._devices.values())

    def known(self, token: str) -> Device | None:
        """The device that a cookie belongs to."""
        return self._devices.get(_hash(token)) if token else None

    def add(self, name: str) -> tuple[Device, str]:
        """Pair a device; the token is for its cookie and is not stored."""
        token = secrets.token_urlsafe(32)
        now = datetime.now(UTC).isoformat(timespec="seconds")
        with self._lock:
            device = Device(secrets.token_hex(6), self._free(name), _hash(token), now)
            self._write({**self._devices, device.hash: device})
        return device, token

    def _free(self, name: str, but: str = "") -> str:
        """A unique name, because the history uses names."""
        plain = " ".join(name.split())[:LONGEST_NAME]
        taken = {d.name for d in self._devices.values() if d.id != but}
        numbered = (f"{plain[: LONGEST_NAME - 4]} {n}" for n in range(2, len(taken) + 3))
        return next(n for n in (plain, *numbered) if n not in taken)

    def rename(self, device_id: str, name: str) -> None:
        """Rename a device; if the name is taken, add a number."""
        with self._lock:
            plain = self._free(name, device_id)
            self._write(
                {
                    h: replace(d, name=plain) if d.id == device_id else d
                    for h, d in self._devices.items()
                }
            )

    def revoke(self, device_id: str) -> bool:
        """Forget a device, so that its cookie opens nothing; False if there is none."""
        with self._lock:
            kept = {h: d for h, d in self._devices.items() if d.id != device_id}
            was_there = len(kept) < len(self._devices)
            self._write(kept)
        return was_there

    def _read(self) -> dict[str, Device]:
        try:
            content = self._path.read_bytes()
        except OSError:
            return {}
        # Not at the top: a desk without phones answers its first page before this has loaded.
        from pydantic import TypeAdapter, ValidationError  # noqa: PLC0415

        try:
            kept = TypeAdapter(list[Device]).validate_json(content)
        except ValidationError:
            return {}  # not ours: then every device pairs again
        return {device.hash: device for device in kept}

    def _write(self, devices: dict[str, Device]) -> None:
        content = json.dumps([asdict(device) for device in devices.values()], indent=1)
        write_private(self._path, content.encode())
        self._devices = devices


class Pairing:
    """Shows one code at a time and accepts it once.

    Parameters
    ----------
    devices : Devices
    clock_s : callable
        Monotonic [s].
    """

    def __init__(self, devices: Devices, clock_s: Callable[[], float] = time.monotonic) -> None:
        self.devices = devices
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._code: Code | None = None
        self._tries: Counter[str] = Counter()

    def show(self) -> Code:
        """A new code; the previous one becomes invalid."""
        with self._lock:
            letters = "".join(secrets.choice(_LETTERS) for _ in range(CODE_LENGTH))
            self._code = Code(letters, self._clock_s() + CODE_SECONDS)
            self._tries.clear()
            return self._code

    def seconds_left(self) -> float:
        """How long the code on show still works; 0 if there is none [s]."""
        with self._lock:
            return 0.0 if self._code is None else max(0.0, self._code.ends_s - self._clock_s())

    def redeem(self, letters: str, name: str, address: str = "") -> tuple[Device, str] | None:
        """Pair a device by the code; None if it is wrong, used, or expired.

        After five wrong tries an address is blocked until the next code, while the code stays valid
        for everyone else: a guessing stranger only locks out himself. With 2⁴⁰ codes, five tries
        from every address of a network of 65,000 find one with a chance of 3 in 10 million.
        """
        given = letters.upper().translate(_READ_AS)
        with self._lock:
            code = self._code
            if code is None or self._clock_s() >= code.ends_s:
                self._code = None
                return None
            if self._tries[address] >= _MOST_TRIES:
                return None
            if not hmac.compare_digest(given.encode(), code.letters.encode()):
                self._tries[address] += 1
                return None
            self._code = None
        return self.devices.add(name)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()
