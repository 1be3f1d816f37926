"""How often an open door is passed: so many times from one address, so many in all."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Callable


class Allowance:
    """Counts who came within a window of time.

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
        self._came: deque[tuple[float, str]] = deque()  # never longer than what all may

    def take(self, address: str) -> bool:
        """Let one through; False where too many came already, which then does not count."""
        with self._lock:
            now = self._clock_s()
            while self._came and now - self._came[0][0] >= self._window_s:
                self._came.popleft()
            from_here = sum(1 for _, who in self._came if who == address)
            if len(self._came) >= self._all or from_here >= self._each:
                return False
            self._came.append((now, address))
            return True
