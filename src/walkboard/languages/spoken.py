"""The language of the page, message or sheet that is being made."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

ENGLISH = "en"
LANGUAGES = (ENGLISH, "de", "fr")
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)


def language() -> str:
    """The language as a BCP 47 code, one of `LANGUAGES`."""
    return _spoken.get()


def speak(chosen: str) -> None:
    """Use a language from here on; an unknown one changes nothing."""
    if chosen in LANGUAGES:
        _spoken.set(chosen)


@contextmanager
def speaking(chosen: str) -> Iterator[None]:
    """Whatever is made within is in this language; an unknown one changes nothing."""
    before = _spoken.set(chosen if chosen in LANGUAGES else _spoken.get())
    try:
        yield
    finally:
        _spoken.reset(before)
