"""Numbers and instants on their way into the book: finite, and with a time zone."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import SupportsFloat

from walkboard.errors import BookError


def number(value: SupportsFloat, of: str) -> float:
    """A finite float of any real number.

    Raises
    ------
    BookError
        When it is not finite: SQLite would keep a nan as nothing, and nothing in a tuning book is
        infinite.
    """
    plain = float(value)
    if not math.isfinite(plain):
        raise BookError(
            f"{of} is {plain}, which is no number to keep.",
            mend="What could not be measured is kept as nothing, with a flag that says why.",
        )
    return plain


def number_or_none(value: SupportsFloat | None, of: str) -> float | None:
    """The same where nothing is allowed."""
    return None if value is None else number(value, of)


def instant(value: datetime, of: str) -> datetime:
    """An instant in UTC.

    Raises
    ------
    BookError
        When it knows no time zone.
    """
    if value.tzinfo is None:
        raise BookError(
            f"{of} is {value}, without a time zone.",
            mend="Say in which time zone it is meant.",
        )
    return value.astimezone(UTC)
