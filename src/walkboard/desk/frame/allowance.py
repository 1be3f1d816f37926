"""Rate limit of an open door: per address and in total."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable


class Allowance:
    """Counts requests within a time window.

    Parameters
    ----------
    each, all_ : int
        Times from one address, and from all together, within the window.
    window_s : float
    clock_s : callable
        Monotonic [s].
    """

    def __init__(
        self,
        *,
        each: int,
        all_: int,
        window_s: float,
        clock_s: Callable[[], float] = time.monotonic,
    ) -> None:
        self._each = each
        self._all = all_
        self._window_s = window_s
        self._clock_s = clock_s
        self._lock = threading.Lock()
        self._came: deque[tuple[float, str]] = deque()  # never longer than the total limit

    def take(self, address: str) -> bool:
        """Count one request; False, without counting it, if there were too many."""
        with self._lock:
            now = self._clock_s()
            while self._came and now - self._came[0][0] >= self._window_s:
                self._came.popleft()
            from_here = sum(1 for _, who in self._came if who == address)
            if len(self._came) >= self._all or from_here >= self._each:
                return False
            self._came.append((now, address))
            return True
