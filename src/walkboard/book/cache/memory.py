"""Answers kept by key, each calculated once, however many threads ask."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any, TypeVar, cast

T = TypeVar("T")

_MOST = 4096  # answers kept. Chosen: a page of an organ of forty years asks about 1,500.


class Memory:
    """Answers by key, the least recently used dropped first; each is calculated once.

    Parameters
    ----------
    most : int
        Number kept at a time.
    """

    def __init__(self, most: int = _MOST) -> None:
        self._most = most
        self._lock = threading.Lock()
        self._answers: OrderedDict[Hashable, tuple[Hashable, Any]] = OrderedDict()
        self._working: dict[Hashable, threading.Lock] = {}

    def knows(self, key: Hashable) -> bool:
        """Whether a key has an answer already."""
        with self._lock:
            return key in self._answers

    def get(self, key: Hashable, work_out: Callable[[], T], *, stamp: Hashable = None) -> T:
        """The answer of a key, calculated if unknown; other threads wait for it.

        Parameters
        ----------
        key : hashable
        work_out : callable
        stamp : hashable
            What the answer depends on: an answer with another stamp is calculated again, and the
            old one dropped.
        """
        with self._lock:
            kept = self._answers.get(key)
            if kept is not None and kept[0] == stamp:
                self._answers.move_to_end(key)
                return cast(T, kept[1])
            working = self._working.setdefault(key, threading.Lock())
        with working:
            with self._lock:
                kept = self._answers.get(key)
                if kept is not None and kept[0] == stamp:
                    return cast(T, kept[1])
            answer = work_out()
            with self._lock:
                self._answers[key] = stamp, answer
                self._answers.move_to_end(key)
                self._working.pop(key, None)
                while len(self._answers) > self._most:
                    self._answers.popitem(last=False)
            return answer
