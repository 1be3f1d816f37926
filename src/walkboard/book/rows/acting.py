"""Who is at work: whatever is recorded meanwhile names them."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

_person: ContextVar[str | None] = ContextVar("person", default=None)


@contextmanager
def recording_as(person_uid: str | None) -> Iterator[None]:
    """Record as a person, by uid; None: nobody known, as at a desk where nobody signs in."""
    before = _person.set(person_uid)
    try:
        yield
    finally:
        _person.reset(before)


def person_at_work() -> str | None:
    """The uid of the person who records now."""
    return _person.get()
