"""What a search or a check of the book found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Found:
    """One record that a search found.

    Attributes
    ----------
    kind : str
        ``fault``, ``note``, ``visit``, ``tick`` or ``event``.
    id : int
        Id of the record within its kind; of the visit for a tick.
    organ_id : int
    visit_id : int or None
    at : datetime
    words : str
        The text that matched.
    """

    kind: str
    id: int
    organ_id: int
    visit_id: int | None
    at: datetime
    words: str


@dataclass(frozen=True, slots=True)
class BookProblem:
    """One thing that `Book.check` found wrong: where, what, and how to fix it."""

    where: str
    what: str
    fix: str

    def __str__(self) -> str:
        return f"{self.where}: {self.what} {self.fix}"
