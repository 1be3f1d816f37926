"""Sessions: a browser's cookie, and the person who signed in with it."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from walkboard.book.people.records import Session
from walkboard.work.people.tokens import hash_of, new_token

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

LASTS = timedelta(days=30)  # chosen: a tuner signs in once a month on each device
_LONGEST_BROWSER = 60


def begin(book: Book, person_id: int, browser: str, now: datetime) -> str:
    """Begin a session: the token for its cookie, which is kept nowhere else.

    Parameters
    ----------
    book : Book
    person_id : int
    browser : str
        What the browser calls itself.
    now : datetime

    Raises
    ------
    BookError
        When there is no such person.
    """
    token = new_token()
    words = " ".join(browser.split())[:_LONGEST_BROWSER]
    book.begin_session(person_id, hash_of(token), words, now + LASTS)
    return token


def found(book: Book, token: str, now: datetime) -> Session | None:
    """The session of a cookie; None if there is none, or it is over."""
    session = book.session(hash_of(token)) if token else None
    return None if session is None or session.ends_at <= now else session
