"""Column types: instants, lists of words and of numbers, each in one text form."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from functools import lru_cache

from sqlalchemy import Dialect, Text
from sqlalchemy.types import TypeDecorator


class Instant(TypeDecorator[datetime]):
    """A time-zone aware instant, kept in UTC as ISO 8601 text of fixed width.

    The fixed width makes the order of the texts the order of the instants.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Text form, as ``2031-03-01T09:30:00.000000+00:00``."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError(f"an instant must know its time zone: {value!r}")
        return value.astimezone(UTC).isoformat(timespec="microseconds")

    def process_result_value(self, value: str | None, dialect: Dialect) -> datetime | None:  # noqa: ARG002
        """The instant, in UTC."""
        return None if value is None else datetime.fromisoformat(value)


class Words(TypeDecorator[tuple[str, ...]]):
    """A list of words or sentences in order, kept as a JSON array."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: tuple[str, ...] | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Text form, as ``["great.principal4"]``."""
        return None if value is None else json.dumps(list(value), ensure_ascii=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[str, ...] | None:  # noqa: ARG002
        """The words."""
        return None if value is None else _words_of(value)


class Numbers(TypeDecorator[tuple[float, ...]]):
    """Finite numbers in order, stored exactly as a JSON array."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: tuple[float, ...] | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Text form, as ``[523.1, 523.4]``."""
        return None if value is None else json.dumps(list(value), allow_nan=False)

    def process_result_value(self, value: str | None, dialect: Dialect) -> tuple[float, ...] | None:  # noqa: ARG002
        """The numbers."""
        return None if value is None else _numbers_of(value)


@lru_cache(maxsize=1024)
def _words_of(text: str) -> tuple[str, ...]:
    # A visit's readings have thousands of these, nearly all of them alike.
    words = json.loads(text)
    if not (isinstance(words, list) and all(isinstance(word, str) for word in words)):
        raise ValueError(f"not a list of words: {text!r}")
    return tuple(words)


@lru_cache(maxsize=64)
def _numbers_of(text: str) -> tuple[float, ...]:
    # Nearly all readings of single pipes have the empty list.
    numbers = json.loads(text)
    if not (isinstance(numbers, list) and all(isinstance(n, int | float) for n in numbers)):
        raise ValueError(f"not a list of numbers: {text!r}")
    return tuple(numbers)
