"""Properties of a calendar's components from the library, read defensively."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, tzinfo
from typing import Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import icalendar

from walkboard.plausible import AIR_CELSIUS, EVENT_YEAR


def event_lines(data: bytes) -> list[int]:
    """The line at which each event of a file begins, from 1."""
    lines = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
    return [n for n, line in enumerate(lines, 1) if line.strip().upper() == b"BEGIN:VEVENT"]


def is_plausible(at: date | datetime) -> bool:
    """Whether the year is plausible."""
    return at.year in EVENT_YEAR


def wall_time(at: date | datetime | None) -> datetime:
    """Local time; a day begins at midnight."""
    if isinstance(at, datetime):
        return at.replace(tzinfo=None)
    assert at is not None
    return datetime.combine(at, time.min)


def moment(value: Any) -> date | datetime | None:
    """A property's date or instant; None if the library could not read it."""
    # The library returns what it could not read as a broken property without `dt`.
    found = value.dt if isinstance(value, icalendar.vDDDTypes) else None
    return found if isinstance(found, date) else None


def listed(value: Any) -> Iterator[date | datetime]:
    """The instants of an RDATE or EXDATE; for a period, its start."""
    for one in several(value):
        for entry in one.dts if isinstance(one, icalendar.vDDDLists) else ():
            at = entry.dt[0] if isinstance(entry.dt, tuple) else entry.dt  # of a period its start
            if isinstance(at, date) and is_plausible(at):
                yield at


def several(value: Any) -> list[Any]:
    """A property that may occur once or several times, as a list."""
    if value is None:
        return []
    return list(value) if isinstance(value, (list, tuple)) else [value]


def newer(known: Any, event: Any) -> Any:
    """Of two components for the same event, the one with the higher SEQUENCE."""
    if known is None:
        return event
    return event if sequence(event) >= sequence(known) else known


def sequence(event: Any) -> int:
    """SEQUENCE of a component; 0 if it cannot be read."""
    try:
        return int(event.get("SEQUENCE", 0))
    except (TypeError, ValueError):
        return 0


def title_of(event: Any) -> str:
    """Its SUMMARY on one line, cut at 200 characters."""
    return " ".join(str(event.get("SUMMARY", "")).split())[:200]


def celsius_of(value: Any) -> float | None:
    """The air that a book wrote with it; None if implausible [°C]."""
    try:
        found = float(str(value))
    except ValueError:
        return None
    return found if found in AIR_CELSIUS else None


def zone_of(calendars: Iterable[Any], usual: tzinfo) -> tzinfo:
    """The zone that a calendar gives for itself, or the usual one."""
    for one in calendars:
        name = one.get("X-WR-TIMEZONE")
        if name is not None:
            try:
                return ZoneInfo(str(name))
            except (ZoneInfoNotFoundError, ValueError, OSError):
                return usual
    return usual
