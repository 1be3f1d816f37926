"""What a test asserts about a reading: it is measured, or has a bound; then its values."""

from __future__ import annotations

from collections.abc import Hashable
from typing import TypeVar

from walkboard.listening.readings import Bound, Either, Measured, Reading

PipeT = TypeVar("PipeT", bound=Hashable)


def measured(reading: Reading[PipeT]) -> Measured[PipeT]:
    assert isinstance(reading, Measured), reading
    return reading


def bound_of(reading: Reading[PipeT]) -> Bound:
    assert reading.bound_or_none is not None, reading
    return reading.bound_or_none


def either_of(reading: Reading[PipeT]) -> Either:
    """Both places of a pipe separated from its unison but not named."""
    either = bound_of(reading).either
    assert either is not None, reading
    return either
