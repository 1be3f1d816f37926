"""The book: one class for everything done with it, composed by subject."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from walkboard.book.checking import Checking
from walkboard.book.copying import Copying
from walkboard.book.merging.forks import Forks
from walkboard.book.merging.merging import Merging
from walkboard.book.people.people import People
from walkboard.book.people.recorders import Recorders
from walkboard.book.people.signing_in import SigningIn
from walkboard.book.readings.pipes_now import PipesNow
from walkboard.book.readings.reading_lines import ReadingLines
from walkboard.book.readings.readings import Readings
from walkboard.book.searching import Searching
from walkboard.book.visits.summaries import Summaries


class Book(
    Checking,
    Readings,
    ReadingLines,
    PipesNow,
    Summaries,
    Searching,
    Copying,
    People,
    Recorders,
    SigningIn,
    Forks,
    Merging,
):
    """A tuning book, open. `open_book` and `create_book` give one.

    Every operation is atomic: once it returns, its result survives a killed program and a power
    cut; otherwise nothing is changed and a `BookError` says why. Threads may share one book.

    Each part is in its own file: organs, visits, recordings, readings, plans, ticks, settlings,
    faults, events, searching, checking, copying, people, signing in, devices, forks, merging.
    """

    def close(self) -> None:
        """Close the database; a book may be closed twice."""
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
