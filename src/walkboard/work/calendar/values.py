"""The content of a calendar file as plain values, and the uids by which the book knows it.

Each instance of a recurring event is a separate event in the book. Its uid is the calendar's uid, a
``#``, and the instant given by the rule (its RECURRENCE-ID in UTC). So it stays the same event when
it is moved, and is exported with that UID and RECURRENCE-ID again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

_STAMP = "%Y%m%dT%H%M%SZ"
_INSTANCE = re.compile(r"^(?P<uid>.+)#(?P<at>\d{8}T\d{6}Z)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class CalendarEvent:
    """One event in a calendar, or one instance of a recurring one.

    Attributes
    ----------
    uid : str
        The book's uid, including the instance.
    starts_at : datetime
        In UTC.
    title : str
    cancelled : bool
    stops : tuple of str or None
    air_celsius : float or None
        Both only in files that a book wrote; else None.
    is_from_a_book : bool
        Whether a book wrote the file; then a cancelled event is one that the book knew.
    """

    uid: str
    starts_at: datetime
    title: str
    cancelled: bool = False
    stops: tuple[str, ...] | None = None
    air_celsius: float | None = None
    is_from_a_book: bool = False


@dataclass(frozen=True, slots=True)
class CalendarRead:
    """A calendar file, read.

    Attributes
    ----------
    events : tuple of CalendarEvent
        In order of start; recurring ones as their instances within the horizon.
    recurring : frozenset of str
        Uids whose rule is in the file: an instance not among `events` no longer exists.
    left_out : tuple of str
        What was not taken, in words.
    """

    events: tuple[CalendarEvent, ...]
    recurring: frozenset[str]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Horizon:
    """The period in which recurring events are expanded; times without a zone are in `zone`."""

    begins_at: datetime
    ends_at: datetime
    zone: tzinfo


def horizon_of(now: datetime, zone: tzinfo, *, days: float, back_days: float = 31.0) -> Horizon:
    """From a month ago to `days` from now."""
    return Horizon(now - timedelta(days=back_days), now + timedelta(days=days), zone)


def instance_uid(uid: str, at: datetime | None) -> str:
    """The book's uid of an instance; for a single event, the calendar's own."""
    return uid if at is None else f"{uid}#{at.astimezone(UTC):{_STAMP}}"


def parted_uid(uid: str) -> tuple[str, datetime | None]:
    """The calendar's uid and the instance in a uid of the book."""
    match = _INSTANCE.match(uid)
    if match is None:
        return uid, None
    try:
        at = datetime.strptime(match["at"], _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return uid, None
    return match["uid"], at
