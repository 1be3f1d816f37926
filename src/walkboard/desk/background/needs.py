"""What background work needs from the desk."""

from __future__ import annotations

from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from walkboard.book.cache.seen import SeenBook
    from walkboard.desk.background.jobs import Jobs


class BookAndJobs(Protocol):
    """A book and its long work."""

    @property
    def book(self) -> SeenBook:
        """The book."""

    @property
    def jobs(self) -> Jobs:
        """Its work in separate processes."""
