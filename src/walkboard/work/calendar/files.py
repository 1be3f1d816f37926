"""Calendars as files: iCalendar (RFC 5545) in and out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, tzinfo
from typing import Any

import icalendar

from walkboard.book.records import KeptEvent
from walkboard.errors import InputError
from walkboard.work.calendar.properties import (
    celsius_of,
    event_lines,
    is_plausible,
    listed,
    moment,
    newer,
    several,
    title_of,
    wall_time,
    zone_of,
)
from walkboard.work.calendar.recurrence import Budget, read_rule
from walkboard.work.calendar.values import (
    CalendarEvent,
    CalendarRead,
    Horizon,
    instance_uid,
    parted_uid,
)

MOST_BYTES = 2 << 20
MOST_EVENTS = 3000  # in a file, including instances of recurring ones
_STOPS, _AIR = "X-WALKBOARD-STOPS", "X-WALKBOARD-AIR"  # RFC 5545, 3.8.8.2
_PRODUCT = "-//Walkboard//Tuning book//EN"
_COARSE = {"HOURLY", "MINUTELY", "SECONDLY"}  # no event that an organ is tuned for recurs like this


def read_calendar(data: bytes, horizon: Horizon, *, where: str = "") -> CalendarRead:
    """Events of an iCalendar file.

    Parameters
    ----------
    data : bytes
    horizon : Horizon
    where : str
        The file's name.

    Raises
    ------
    InputError
        If it is not an iCalendar file, too large, or an event recurs in an unsupported way.
    """
    if len(data) > MOST_BYTES:
        raise InputError("The calendar is too large.", where=where, fix="Export fewer months.")
    try:
        calendars = icalendar.Calendar.from_ical(data, multiple=True)
        components = [c for one in calendars for c in one.walk("VEVENT")]
    except (
        ValueError,
        KeyError,
        IndexError,
        TypeError,
        AttributeError,
        OverflowError,
        RecursionError,
        AssertionError,
        ArithmeticError,
        OSError,  # a zone is looked up as a file, and its name may be too long for one
    ) as error:  # fmt: skip - the library raises all of these
        raise InputError(
            f"This is not a calendar in iCalendar format ({getattr(error, 'strerror', error)}).",
            where=where,
            fix="Export it as .ics from the program that keeps it.",
        ) from None
    if not calendars or any(one.name != "VCALENDAR" for one in calendars):
        raise InputError(
            "This is not a calendar in iCalendar format.", where=where, fix="Choose an .ics file."
        )
    horizon = replace(horizon, zone=zone_of(calendars, horizon.zone))
    called_off = any(str(c.get("METHOD", "")).upper() == "CANCEL" for c in calendars)
    try:
        reading = _Reading(
            horizon,
            where,
            called_off=called_off,
            lines=event_lines(data),
            is_from_a_book=all(str(c.get("PRODID", "")) == _PRODUCT for c in calendars),
        )
        return reading.read(components)
    except OverflowError:  # a zone or period at the limits of the calendar
        raise InputError(
            "A time in this calendar cannot be calculated.",
            where=where,
            fix="Export fewer months.",
        ) from None


def write_calendar(name: str, events: Iterable[KeptEvent]) -> bytes:
    """Events as an iCalendar file; the same events give the same bytes.

    Parameters
    ----------
    name : str
        Name of the calendar (RFC 7986, NAME).
    events : iterable of KeptEvent
    """
    made = icalendar.Calendar()
    made.add("PRODID", _PRODUCT)
    made.add("VERSION", "2.0")
    made.add("NAME", name)
    for event in events:
        uid, instance = parted_uid(event.uid)
        written = icalendar.Event()
        written.add("UID", uid)
        if instance is not None:
            written.add("RECURRENCE-ID", instance)
        written.add("DTSTAMP", event.kept_at.astimezone(UTC))
        written.add("DTSTART", event.starts_at.astimezone(UTC))
        written.add("SUMMARY", event.title)
        written.add("STATUS", "CANCELLED" if event.cancelled else "CONFIRMED")
        if event.stops:
            written.add(_STOPS, " ".join(event.stops))
        if event.air_celsius is not None:
            written.add(_AIR, repr(event.air_celsius))
        made.add_component(written)
    data: bytes = made.to_ical()
    return data


@dataclass(frozen=True, slots=True)
class _Span:
    """The horizon in local time of an event's own zone."""

    begins: datetime
    ends: datetime


class _Reading:
    """Collects the events of one file."""

    def __init__(
        self,
        horizon: Horizon,
        where: str,
        *,
        called_off: bool,
        lines: Sequence[int],
        is_from_a_book: bool,
    ) -> None:
        self._horizon = horizon
        self._where = where
        self._called_off = called_off
        self._is_from_a_book = is_from_a_book
        self._lines = lines
        self._line_of: dict[int, int] = {}  # by the identity of a component
        self._budget = Budget()
        self._left_out: list[str] = []

    def read(self, components: Iterable[Any]) -> CalendarRead:
        components = list(components)
        if len(components) == len(self._lines):
            self._line_of = {
                id(event): line for event, line in zip(components, self._lines, strict=True)
            }
        masters: dict[str, Any] = {}
        changed: dict[tuple[str, datetime], Any] = {}
        for event in components:
            uid, start = str(event.get("UID", "")).strip(), moment(event.get("DTSTART"))
            if not uid or start is None:
                what = "no UID" if not uid else "no start that can be read"
                self._leave_out(event, f"it has {what}")
                continue
            if not is_plausible(start):
                self._leave_out(event, f"the year {start.year} is out of range")
                continue
            instance = moment(event.get("RECURRENCE-ID"))
            if instance is not None and not is_plausible(instance):
                self._leave_out(event, f"the year {instance.year} is out of range")
                continue
            if instance is not None:
                key = (uid, self._instant(instance))
                if event["RECURRENCE-ID"].params.get("RANGE"):
                    self._leave_out(event, "it changes all following days; only this day was taken")
                changed[key] = newer(changed.get(key), event)
            else:
                masters[uid] = newer(masters.get(uid), event)
        found: dict[str, CalendarEvent] = {}
        recurring = set()
        for uid, event in masters.items():
            if event.get("RRULE") is None and event.get("RDATE") is None:
                self._add(found, uid, None, self._instant(moment(event["DTSTART"])), event)
                continue
            recurring.add(uid)
            for at in self._instances(event):
                self._add(found, uid, at, at, event)
        for (uid, at), event in changed.items():
            self._add(found, uid, at, self._instant(moment(event["DTSTART"])), event)
        events = sorted(found.values(), key=lambda e: (e.starts_at, e.uid))
        return CalendarRead(tuple(events), frozenset(recurring), tuple(self._left_out))

    def _leave_out(self, event: Any, why: str) -> None:
        self._left_out.append(f"{title_of(event) or 'An event'}{self._place(event)}: {why}.")

    def _place(self, event: Any) -> str:
        line = self._line_of.get(id(event))
        return "" if line is None else f" (line {line})"

    def _add(
        self,
        found: dict[str, CalendarEvent],
        uid: str,
        instance: datetime | None,
        starts_at: datetime,
        event: Any,
    ) -> None:
        stops, air = event.get(_STOPS), event.get(_AIR)
        made = CalendarEvent(
            uid=instance_uid(uid, instance),
            starts_at=starts_at,
            title=title_of(event),
            cancelled=self._called_off or str(event.get("STATUS", "")).upper() == "CANCELLED",
            stops=None if stops is None else tuple(str(stops).split()),
            air_celsius=celsius_of(air),
            is_from_a_book=self._is_from_a_book,
        )
        found[made.uid] = made
        if len(found) > MOST_EVENTS:
            raise InputError(
                f"The calendar has more than {MOST_EVENTS} events.",
                where=self._where,
                fix="Export fewer months, or only the events at this organ.",
            )

    def _instances(self, event: Any) -> list[datetime]:
        """Every instant from the rules within the horizon (RFC 5545, 3.8.5)."""
        start = moment(event["DTSTART"])
        zone = self._zone(start)
        first = wall_time(start)
        span = _Span(
            wall_time(self._horizon.begins_at.astimezone(zone)),
            wall_time(self._horizon.ends_at.astimezone(zone)),
        )
        walls = {wall_time(self._local(at, zone)) for at in listed(event.get("RDATE"))}
        rules = several(event.get("RRULE"))
        if not rules:
            walls.add(first)
        for rule in rules:
            walls.update(self._ruled(event, rule, first=first, zone=zone, span=span))
        left_out = set()
        for at in listed(event.get("EXDATE")):
            if isinstance(at, datetime):
                left_out.add(wall_time(self._local(at, zone)))
            else:
                left_out.update(wall for wall in walls if wall.date() == at)
        return [
            wall.replace(tzinfo=zone).astimezone(UTC)
            for wall in sorted(walls - left_out)
            if span.begins <= wall <= span.ends
        ]

    def _ruled(
        self, event: Any, rule: Any, *, first: datetime, zone: tzinfo, span: _Span
    ) -> Iterator[datetime]:
        if not isinstance(rule, icalendar.vRecur) or not rule.get("FREQ"):
            raise self._odd(event, "its rule cannot be read")
        parts = {name.upper(): several(value) for name, value in rule.items()}
        if str(parts["FREQ"][0]).upper() in _COARSE:
            raise self._odd(event, "it recurs within the day")
        last = span.ends
        try:
            if parts.get("UNTIL"):
                last = min(last, self._until(parts["UNTIL"][0], zone))
            made = read_rule(parts, first)
            for count, at in enumerate(made.instances(span.begins, last, self._budget)):
                if count >= MOST_EVENTS:
                    raise self._odd(event, "it recurs too often")
                yield at
        except (ValueError, TypeError, OverflowError) as error:
            raise self._odd(event, str(error)) from None

    def _until(self, until: date | datetime, zone: tzinfo) -> datetime:
        if isinstance(until, datetime):
            return wall_time(self._local(until, zone))
        return datetime.combine(until, time.max)  # a day counts as a whole

    def _odd(self, event: Any, why: str) -> InputError:
        return InputError(
            f"{title_of(event) or 'An event'}{self._place(event)} recurs in a way that is not"
            f" understood ({why}).",
            where=self._where,
            fix="Export its days one by one, or add it by hand.",
        )

    def _zone(self, at: date | datetime | None) -> tzinfo:
        found = at.tzinfo if isinstance(at, datetime) else None
        return found or self._horizon.zone

    def _local(self, at: date | datetime, zone: tzinfo) -> date | datetime:
        if isinstance(at, datetime) and at.tzinfo is not None:
            return at.astimezone(zone)
        return at

    def _instant(self, at: date | datetime | None) -> datetime:
        assert at is not None
        return wall_time(at).replace(tzinfo=self._zone(at)).astimezone(UTC)
