"""The calendar: what the organ must be ready for, from a calendar file or typed in."""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptOrgan
from walkboard.errors import BookError, InputError
from walkboard.organ.model import Organ
from walkboard.plausible import AIR_CELSIUS, EVENT_YEAR
from walkboard.work.open_book import now
from walkboard.work.write_files import write_file

if TYPE_CHECKING:
    from walkboard.book.keeping import Book

HORIZON_DAYS = 400.0  # recurring events are expanded this far: a year, and planning for the next
LONGEST_TITLE = 200


@dataclass(frozen=True, slots=True)
class Taken:
    """The result of importing a calendar file.

    Attributes
    ----------
    new, changed, same, called_off : int
        Numbers of events; `same` includes those that stay cancelled by hand.
    left_out : tuple of str
        What was not imported, in words.
    """

    new: int
    changed: int
    same: int
    called_off: int
    left_out: tuple[str, ...] = ()


def local_zone() -> tzinfo:
    """The time zone of this machine, with its summer time."""
    from dateutil.tz import tzlocal

    here: tzinfo = tzlocal()
    return here


def today() -> date:
    """The day in this machine's time zone."""
    return now().astimezone(local_zone()).date()


def take_in_calendar(
    book: Book, organ_id: int, data: bytes, *, where: str = "", zone: tzinfo | None = None
) -> Taken:
    """Import the events of an iCalendar file into the book; importing it again changes nothing.

    Stops and air entered by hand are kept. An event cancelled by hand stays cancelled until the
    calendar changes it. Instances that a recurring event no longer has are cancelled.

    Parameters
    ----------
    book : Book
    organ_id : int
    data : bytes
    where : str
        The file's name.
    zone : tzinfo or None
        Zone for times without one; None: this machine's.

    Raises
    ------
    InputError
        If it cannot be read; nothing is stored then.
    """
    from walkboard.work.calendar.files import read_calendar
    from walkboard.work.calendar.values import horizon_of, parted_uid

    present = now()
    horizon = horizon_of(present, zone or local_zone(), days=HORIZON_DAYS)
    read = read_calendar(data, horizon, where=where)
    known = {event.uid: event for event in book.events(organ_id)}
    new = changed = same = called_off = 0
    for event in read.events:
        old = known.get(event.uid)
        if event.cancelled:
            if old is None and event.is_from_a_book:
                book.keep_event(
                    organ_id,
                    event.uid,
                    event.starts_at,
                    event.title,
                    stops=event.stops or (),
                    air_celsius=event.air_celsius,
                )
            if (old is None and event.is_from_a_book) or (old is not None and not old.cancelled):
                book.cancel_event(organ_id, event.uid)
                called_off += 1
            continue
        stated = (event.starts_at, event.title)
        if old is not None and old.cancelled and (old.starts_at, old.title) == stated:
            same += 1  # cancelled by hand, and the calendar has no change
            continue
        stops = event.stops if event.stops is not None else () if old is None else old.stops
        air = event.air_celsius
        if air is None and old is not None:
            air = old.air_celsius
        kept = book.keep_event(
            organ_id, event.uid, event.starts_at, event.title, stops=stops, air_celsius=air
        )
        if old is None:
            new += 1
        elif kept.id == old.id:
            same += 1
        else:
            changed += 1
    there = {event.uid for event in read.events}
    for uid, old in known.items():
        calendar_uid, instance = parted_uid(uid)
        is_ours = instance is not None and calendar_uid in read.recurring and uid not in there
        if is_ours and not old.cancelled and present <= old.starts_at <= horizon.ends_at:
            book.cancel_event(organ_id, uid)
            called_off += 1
    return Taken(new, changed, same, called_off, read.left_out)


def take_in_calendar_file(book: Book, organ_id: int, path: Path) -> Taken:
    """The same from a file; InputError if it cannot be read."""
    from walkboard.work.organ_files import cannot_read

    try:
        data = path.read_bytes()
    except OSError as error:
        raise cannot_read(path, error) from None
    return take_in_calendar(book, organ_id, data, where=str(path))


def moment(text: str) -> datetime:
    """Parse a day and time as typed, ``2031-09-27T19:30``; InputError if invalid."""
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise InputError(
            f"{text!r} is not a day and time.", fix="Write it as 2031-09-27T19:30."
        ) from None


def in_zone(at: datetime, zone: tzinfo) -> datetime:
    """A time in its zone.

    Parameters
    ----------
    at : datetime
        Without a time zone it is in `zone`.
    zone : tzinfo

    Raises
    ------
    InputError
        If the local clock never shows it because it is set forward past it, or the year is out of
        range.
    """
    EVENT_YEAR.check(at.year)
    if at.tzinfo is not None:
        return at
    from dateutil.tz import datetime_exists, resolve_imaginary

    there = at.replace(tzinfo=zone)
    if not datetime_exists(there):
        raise InputError(
            f"{at:%H:%M} does not exist on {at:%Y-%m-%d}: the clock goes forward over it.",
            fix=f"Did you mean {resolve_imaginary(there):%H:%M}?",
        )
    return there


def keep_by_hand(
    book: Book,
    kept: KeptOrgan,
    organ: Organ,
    title: str,
    starts_at: datetime,
    *,
    stops: Sequence[str] = (),
    air_celsius: float | None = None,
    uid: str | None = None,
) -> KeptEvent:
    """Store an event that someone adds or changes.

    Parameters
    ----------
    title : str
    starts_at : datetime
        Without a time zone it is in this machine's.
    stops : sequence of str
        The stops it needs.
    air_celsius : float or None
        Expected air at the organ [°C].
    uid : str or None
        Uid of the event to change; None for a new one.

    Raises
    ------
    InputError
        If there is no title, or the time or the air is out of range.
    UnknownNameError
        If the organ has no such stop.
    BookError
        If there is no event with that uid.
    """
    title = " ".join(title.split())
    if not title or len(title) > LONGEST_TITLE:
        raise InputError(
            "An event needs a title." if not title else "The title is too long.",
            fix="Say in a few words what it is, as: Recital.",
        )
    if air_celsius is not None:
        AIR_CELSIUS.check(air_celsius)
    for stop in stops:
        organ.stop(stop)
    if uid is not None and all(event.uid != uid for event in book.events(kept.id)):
        raise BookError(f"There is no event {uid!r} in this book.", fix="List the events.")
    starts_at = in_zone(starts_at, local_zone())
    return book.keep_event(
        kept.id,
        uid or str(uuid.uuid4()),  # RFC 7986, 5.3: a UUID, and nothing that identifies the machine
        starts_at,
        title,
        stops=tuple(dict.fromkeys(stops)),
        air_celsius=air_celsius,
    )


def event_of(book: Book, organ_id: int, uid: str) -> KeptEvent:
    """The event with a uid; BookError if it does not exist."""
    for event in book.events(organ_id):
        if event.uid == uid:
            return event
    raise BookError("There is no such event in this book.", fix="List the events.")


def calendar_bytes(book: Book, kept: KeptOrgan) -> bytes:
    """Every event of an organ as an iCalendar file, including cancelled ones."""
    from walkboard.work.calendar.files import write_calendar

    return write_calendar(kept.name, book.events(kept.id))


def write_calendar_file(book: Book, kept: KeptOrgan, to: Path) -> Path:
    """Write the file; InputError if the system refuses."""
    return write_file(calendar_bytes(book, kept), to, what="calendar")
