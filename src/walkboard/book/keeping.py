"""The book: one class that does all that is done with it, put together by subject."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from walkboard.book.checking import Checking
from walkboard.book.copying import Copying
from walkboard.book.readings import Readings
from walkboard.book.searching import Searching
from walkboard.book.summaries import Summaries


class Book(Checking, Readings, Summaries, Searching, Copying):
    """A tuning book, open. `open_book` and `create_book` give one.

    Every operation is whole: it is kept when it returns, safe against a killed program and a power
    cut, or nothing is changed and a `BookError` says why. Threads may share one book.

    Each part stands in its own file: organs, visits, recordings, readings, plans, ticks, settlings,
    faults, events, searching, checking, copying.
    """

    def close(self) -> None:
        """Let go of the database; a book may be closed twice."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()
