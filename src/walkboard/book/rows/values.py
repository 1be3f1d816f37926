"""Checks numbers and instants for the book: finite, plausible, and with a time zone."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from typing import SupportsFloat

from walkboard.errors import BookError, InputError
from walkboard.plausible import Range


def number(value: SupportsFloat, of: str) -> float:
    """Any real number as a finite float.

    Raises
    ------
    BookError
        If it is not finite: SQLite would store NaN as NULL, and nothing in a tuning book is
        infinite.
    """
    plain = float(value)
    if not math.isfinite(plain):
        raise BookError(
            f"{of} is {plain}, which is not a number that can be stored.",
            fix="Leave out what could not be measured, and flag it.",
        )
    return plain


def number_or_none(value: SupportsFloat | None, of: str) -> float | None:
    """The same, with None allowed."""
    return None if value is None else number(value, of)


def plausible(value: SupportsFloat | None, kind: Range, of: str) -> float | None:
    """A figure within its quantity's range, or None.

    Raises
    ------
    BookError
        When it is not finite or is out of range.
    """
    if value is None:
        return None
    try:
        return kind.check(float(value), what=of)
    except InputError as error:
        raise BookError(error.what, fix=error.fix) from None


def instant(value: datetime, of: str) -> datetime:
    """An instant in UTC.

    Raises
    ------
    BookError
        When it has no time zone.
    """
    if value.tzinfo is None:
        raise BookError(
            f"{of} is {value}, without a time zone.",
            fix="Give its time zone.",
        )
    return value.astimezone(UTC)
