"""A tuner's weeks as an iCalendar file (RFC 5545): one all-day event for each town and week."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from pathlib import Path

import icalendar

from walkboard.work.rounds.make_round import MadeRound, VisitLine
from walkboard.work.write_files import write_file

_PRODUCT = "-//Walkboard//Round//EN"


def tuner_calendar(tuner: str, visits: Iterable[VisitLine], written_at: datetime) -> bytes:
    """The calendar of one tuner.

    The day within the week is left open: an event covers Monday to Friday. The same week and town
    keep their UID, so that a calendar program replaces it when the round changes.

    Parameters
    ----------
    tuner : str
    visits : iterable of VisitLine
        Those of others are passed over.
    written_at : datetime
        Time-zone aware.
    """
    calendar = icalendar.Calendar()
    calendar.add("PRODID", _PRODUCT)
    calendar.add("VERSION", "2.0")
    calendar.add("NAME", f"Visits of {tuner}")
    by_place: dict[tuple[object, str], list[VisitLine]] = defaultdict(list)
    for visit in visits:
        if visit.tuner == tuner:
            by_place[visit.monday, visit.town].append(visit)
    for (_, town), there in by_place.items():
        monday = there[0].monday
        event = icalendar.Event()
        event.add("UID", _uid(tuner, monday.isoformat(), town))
        event.add("DTSTAMP", written_at.astimezone(UTC))
        event.add("DTSTART", monday)
        event.add("DTEND", monday + timedelta(days=5))
        event.add("SUMMARY", f"{town}: {', '.join(one.organ for one in there)}")
        event.add("LOCATION", town)
        event.add("TRANSP", "TRANSPARENT")
        event.add("DESCRIPTION", "\n".join(_words(one) for one in there))
        calendar.add_component(event)
    data: bytes = calendar.to_ical()
    return data


def write_calendars(made: MadeRound, folder: Path, written_at: datetime) -> tuple[Path, ...]:
    """Write a file for each tuner.

    Raises
    ------
    InputError
        If one cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = []
    for tuner in made.hours_left:
        name = "".join(c if c.isalnum() else "-" for c in tuner).strip("-") or "tuner"
        data = tuner_calendar(tuner, made.visits, written_at)
        written.append(write_file(data, folder / f"{name}.ics", what="calendar"))
    return tuple(written)


def _words(visit: VisitLine) -> str:
    serves = f"; before {', '.join(visit.serves)}" if visit.serves else ""
    return f"{visit.organ}: {visit.hours:.1f} hours{serves}"


def _uid(tuner: str, week: str, town: str) -> str:
    whole = hashlib.sha256("\n".join((tuner, week, town)).encode()).hexdigest()
    return f"{whole[:32]}@round.walkboard"
