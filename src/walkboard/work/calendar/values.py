"""What a calendar file says, as plain values, and the uids by which the book knows it.

Each instance of a recurring event is an event of its own in the book. Its uid is the calendar's
uid, a ``#``, and the instant that the rule gave it (its RECURRENCE-ID in UTC). So it stays the same
event when it is moved, and is written out as that UID and RECURRENCE-ID again.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo

_STAMP = "%Y%m%dT%H%M%SZ"
_INSTANCE = re.compile(r"^(?P<uid>.+)#(?P<at>\d{8}T\d{6}Z)$", re.DOTALL)


@dataclass(frozen=True, slots=True)
class CalendarEvent:
    """What a calendar says of one event, or of one instance of a recurring one.

    Attributes
    ----------
    uid : str
        As the book keeps it, with the instance.
    starts_at : datetime
        In UTC.
    title : str
    cancelled : bool
    stops : tuple of str or None
    air_celsius : float or None
        Both only from files that a book wrote; else None.
    is_from_a_book : bool
        Whether a book wrote the file: then an event that was called off is one that the book knew.
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
        By their start; recurring ones as their instances within the horizon.
    recurring : frozenset of str
        Uids whose rule is in the file: an instance that is not among `events` is no more.
    left_out : tuple of str
        What was not taken, in words.
    """

    events: tuple[CalendarEvent, ...]
    recurring: frozenset[str]
    left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Horizon:
    """From when to when recurring events are expanded; times without a zone are of `zone`."""

    begins_at: datetime
    ends_at: datetime
    zone: tzinfo


def horizon_of(now: datetime, zone: tzinfo, *, days: float, back_days: float = 31.0) -> Horizon:
    """From a month ago to so many days from now."""
    return Horizon(now - timedelta(days=back_days), now + timedelta(days=days), zone)


def instance_uid(uid: str, at: datetime | None) -> str:
    """The book's uid of an instance; of an event that does not recur the calendar's own."""
    return uid if at is None else f"{uid}#{at.astimezone(UTC):{_STAMP}}"


def parted_uid(uid: str) -> tuple[str, datetime | None]:
    """The calendar's uid and the instance that a uid of the book is of."""
    match = _INSTANCE.match(uid)
    if match is None:
        return uid, None
    try:
        at = datetime.strptime(match["at"], _STAMP).replace(tzinfo=UTC)
    except ValueError:
        return uid, None
    return match["uid"], at
