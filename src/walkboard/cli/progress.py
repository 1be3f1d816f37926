"""A bar on standard error for work that lasts longer than two seconds."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import Self

_PATIENCE_S = 2.0
_WIDTH = 30


class Bar:
    """Shows how far a piece of work has come; silent when standard error is no terminal.

    Parameters
    ----------
    title : str
        What is being done.
    """

    def __init__(self, title: str) -> None:
        self._title = title
        self._begun_s = time.monotonic()
        self._shown_s = 0.0
        self._shown = False

    def __call__(self, done: float, total: float) -> None:
        """Show `done` of `total`, at most ten times a second."""
        now_s = time.monotonic()
        if not sys.stderr.isatty() or now_s - self._begun_s < _PATIENCE_S:
            return
        if now_s - self._shown_s < 0.1:
            return
        self._shown_s = now_s
        self._shown = True
        share = min(1.0, done / total) if total > 0 else 0.0
        filled = round(share * _WIDTH)
        left_s = (now_s - self._begun_s) * (1.0 - share) / share if share > 0 else 0.0
        bar = "━" * filled + "·" * (_WIDTH - filled)
        sys.stderr.write(f"\r{self._title} {bar} {share:4.0%}, {left_s:3.0f} s left ")
        sys.stderr.flush()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()
