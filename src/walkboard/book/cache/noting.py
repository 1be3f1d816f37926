"""What an answer depends on, noted while it is calculated."""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field
from enum import Enum
from typing import Any, TypeAlias

from walkboard.book.rows.counting import Part


class Whole(Enum):
    """All of the book, as something that an answer depends on."""

    BOOK = "book"


Scope: TypeAlias = int | Part | Whole
"""What an answer can depend on at most: an organ, a part of every organ, or the whole book."""


@dataclass(slots=True)
class Notes:
    """Questions asked while an answer was calculated.

    Attributes
    ----------
    questions : dict
        By their content, each once: how to ask it again, and its answer.
    scopes : set of Scope
        All of them together depend on these at most.
    """

    questions: dict[Hashable, tuple[Callable[[], Any], Any]] = field(default_factory=dict)
    scopes: set[Scope] = field(default_factory=set)

    def still_true(self) -> bool:
        """Whether every question still has the same answer."""
        with noting(None):
            return all(_is_same(ask(), answer) for ask, answer in self.questions.values())


# None if nobody records.
_notes: ContextVar[Notes | None] = ContextVar("notes", default=None)


@contextmanager
def noting(notes: Notes | None) -> Iterator[None]:
    """Record into these notes what is asked meanwhile; None records nothing."""
    before = _notes.set(notes)
    try:
        yield
    finally:
        _notes.reset(before)


def note(question: Hashable, scopes: set[Scope], ask: Callable[[], Any], answer: Any) -> None:
    """Record a question, if an answer is being calculated."""
    notes = _notes.get()
    if notes is not None and question not in notes.questions:
        notes.questions[question] = (ask, answer)
        notes.scopes |= scopes


def _is_same(one: Any, other: Any) -> bool:
    try:
        return one is other or bool(one == other)
    except ValueError:  # arrays have no single answer
        return False
