"""Slows down failed sign-ins, address by address; nobody else has to wait."""

from __future__ import annotations

import ipaddress
import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Limits:
    """How patient the desk is.

    Attributes
    ----------
    free : int
        Failures before the first wait; chosen: a code mistyped, a passkey of another desk.
    first_s, longest_s : float
        Of the waits, each twice as long as the one before [s]; chosen.
    forget_s : float
        After this time without a failure an address starts afresh [s]; chosen.
    most : int
        Addresses remembered; the one that failed longest ago gives way. Chosen.
    """

    free: int = 5
    first_s: float = 1.0
    longest_s: float = 900.0
    forget_s: float = 3600.0
    most: int = 4096


@dataclass(slots=True)
class _Failures:
    count: int
    last_s: float


class Patience:
    """Counts failures by address.

    Parameters
    ----------
    limits : Limits
    clock_s : callable
        Monotonic [s].
    """

    def __init__(
        self, limits: Limits | None = None, clock_s: Callable[[], float] = time.monotonic
    ) -> None:
        self._limits = Limits() if limits is None else limits
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._failures: OrderedDict[str, _Failures] = OrderedDict()

    def wait_s(self, address: str) -> float:
        """How long an address still has to wait before it may try again [s]; 0 if not at all."""
        with self._lock:
            known = self._failures.get(_network(address))
            if known is None or known.count < self._limits.free:
                return 0.0
            doublings = min(known.count - self._limits.free, 30)
            wait = min(self._limits.first_s * 2.0**doublings, self._limits.longest_s)
            return max(0.0, known.last_s + wait - self._clock_s())

    def failed(self, address: str) -> None:
        """Count a failure."""
        with self._lock:
            key, now = _network(address), self._clock_s()
            known = self._failures.pop(key, None)
            is_fresh = known is None or now - known.last_s >= self._limits.forget_s
            count = 1 if known is None or is_fresh else known.count + 1
            self._failures[key] = _Failures(count, now)
            while len(self._failures) > self._limits.most:
                self._failures.popitem(last=False)

    def succeeded(self, address: str) -> None:
        """Forget an address's failures."""
        with self._lock:
            self._failures.pop(_network(address), None)


def _network(address: str) -> str:
    """What one client can change its address within: of IPv6 a /64 (RFC 4291, 2.5.1)."""
    try:
        ip = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped is not None:
            return str(ip.ipv4_mapped)
        return str(ipaddress.ip_network((int(ip) >> 64 << 64, 64)))
    return str(ip)
