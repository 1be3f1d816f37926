"""A progress bar on standard error for work longer than two seconds."""

from __future__ import annotations

import shutil
import sys
import time
from collections.abc import Sequence
from types import TracebackType
from typing import Self

_PATIENCE_S = 2.0
_WIDTH = 30


class Bar:
    """Shows progress; silent if standard error is not a terminal.

    Parameters
    ----------
    title : str
        Title of the bar.
    """

    def __init__(self, title: str) -> None:
        self._title = title
        self._begun_s = time.monotonic()
        self._shown_s = 0.0
        self._shown = False

    def __call__(self, done: float, total: float) -> None:
        """Show `done` of `total`, at most ten times a second."""
        self.show(min(1.0, done / total) if total > 0.0 else 0.0)

    def show(self, share: float, words: str = "") -> None:
        """Show the share done, with a text after it, at most ten times a second."""
        now_s = time.monotonic()
        if not sys.stderr.isatty() or now_s - self._begun_s < _PATIENCE_S:
            return
        if now_s - self._shown_s < 0.1:
            return
        self._shown_s = now_s
        self._shown = True
        filled = round(share * _WIDTH)
        left_s = (now_s - self._begun_s) * (1.0 - share) / share if share > 0 else 0.0
        bar = "━" * filled + "·" * (_WIDTH - filled)
        line = f"{self._title} {bar} {share:4.0%}, {left_s:3.0f} s left {words}"
        room = shutil.get_terminal_size().columns - 1
        sys.stderr.write(f"\r\x1b[K{line[:room]}")
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


class FilesBar(Bar):
    """The same for several files, with the share of each one in progress.

    Parameters
    ----------
    title : str
        Title of the bar.
    names : sequence of str
        Names of the files.
    """

    def __init__(self, title: str, names: Sequence[str]) -> None:
        super().__init__(title)
        self._names = names
        self._shares = [0.0] * len(names)

    def of_file(self, number: int, done: float, total: float) -> None:
        """Show `done` of `total` for one file, numbered from 0."""
        self._shares[number] = min(1.0, done / total) if total > 0.0 else 0.0
        begun = zip(self._names, self._shares, strict=True)
        words = ", ".join(f"{name} {share:.0%}" for name, share in begun if 0.0 < share < 1.0)
        self.show(sum(self._shares) / len(self._shares), words)
