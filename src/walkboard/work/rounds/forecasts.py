"""How ready each organ stays, and what it must be ready for, from the book.

Working this out plans a visit for each organ, so it is kept in the book's ``worked-out`` folder
until something is added to the book that it rests on.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from walkboard import __version__
from walkboard.book.keeping import Book
from walkboard.book.records import KeptEvent, KeptOrgan
from walkboard.errors import InputError
from walkboard.organ.reading import read_organ
from walkboard.planning.listen.course import readiness_course, unvisited
from walkboard.planning.listen.readiness import Occasion
from walkboard.planning.rounds.benefit import Curve, EventNeed
from walkboard.planning.value.use import EventUse
from walkboard.work import outlook
from walkboard.work.learned_drift import FOLDER
from walkboard.work.plan_request import changes_of
from walkboard.work.write_files import write_file

_Share = Annotated[float, Field(ge=0.0, le=1.0, allow_inf_nan=False)]
_Weeks = Annotated[float, Field(ge=0.0, le=1e4, allow_inf_nan=False)]


class _Kept(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)
    format: Annotated[int, Field(ge=1, le=1)]
    curve: Annotated[tuple[tuple[_Weeks, _Share], ...], Field(min_length=1)]
    events: tuple[tuple[_Weeks, _Share], ...]


METHOD = 1  # of the calculation; a change invalidates stored results
SERVICE_EVERY_WEEKS = 4  # counted for an organ without a calendar. Chosen.
MOST_EVENTS = 40  # of an organ in a round
MOST_KEPT = 2000  # kept files; the oldest are removed


@dataclass(frozen=True, slots=True)
class OrganForecast:
    """What the round needs to know of one organ.

    Attributes
    ----------
    organ : KeptOrgan
    curve : Curve
    events : tuple of EventNeed
    titles : tuple of str
        Of the events, in their order.
    hours : float
        That a visit took last time, or is usual.
    has_calendar : bool
        Whether the events are the book's; else a service every four weeks is assumed.
    """

    organ: KeptOrgan
    curve: Curve
    events: tuple[EventNeed, ...]
    titles: tuple[str, ...]
    hours: float
    has_calendar: bool


def forecast_organ(book: Book, kept: KeptOrgan, start: date, weeks: int) -> OrganForecast:
    """One organ's forecast for a round that starts on a Monday.

    Parameters
    ----------
    book : Book
    kept : KeptOrgan
    start : date
    weeks : int
    """
    end = start + timedelta(weeks=weeks)
    coming = [
        event
        for event in sorted(book.events(kept.id), key=lambda e: (e.starts_at, e.id))
        if not event.cancelled and start <= event.starts_at.date() < end
    ][:MOST_EVENTS]
    minutes = outlook.usual_minutes(book, kept)
    place = book.path / FOLDER / f"round-{_hash(book, kept, coming, start, weeks)}.json"
    known = _read(place, len(coming))
    if known is None:
        known = _work_out(book, kept, coming, start, weeks)
        _keep(place, *known)
    curve, events = known
    titles = tuple(event.title for event in coming) or tuple("service" for _ in events)
    return OrganForecast(kept, curve, events, titles, minutes / 60.0, bool(coming))


def _work_out(
    book: Book, kept: KeptOrgan, coming: list[KeptEvent], start: date, weeks: int
) -> tuple[Curve, tuple[EventNeed, ...]]:
    organ = read_organ(kept.description, where=kept.name)
    seen = outlook.followed(book, kept, organ)
    minutes = outlook.usual_minutes(book, kept)
    changes = changes_of(book, kept.id)
    day = max(start, seen.visits[-1].at) if seen.visits else start
    occasions = [outlook.occasion_of(organ, event) for event in coming]
    if not occasions:
        air = {d.id: organ.pitch.at_celsius for d in organ.divisions}
        sundays = (start + timedelta(weeks=n, days=6) for n in range(0, weeks, SERVICE_EVERY_WEEKS))
        occasions = [Occasion(max(day, at), "service", (), air, EventUse()) for at in sundays]
    curve = readiness_course(seen.drift, seen.learned, occasions[0], day, minutes, changes=changes)
    needs = tuple(
        EventNeed(
            ((occasion.at - start).days + 0.5) / 7.0,
            unvisited(seen.drift, seen.learned, occasion, changes=changes),
        )
        for occasion in occasions
    )
    return curve, needs


def _hash(book: Book, kept: KeptOrgan, coming: list[KeptEvent], start: date, weeks: int) -> str:
    """Of all that the forecast rests on; in a closed visit no pipe is ticked any more."""
    visits = book.visits(kept.id)
    parts = [
        __version__, str(METHOD), kept.description, start.isoformat(), str(weeks),
        repr(visits),
        str(book.count_readings(kept.id)),
        *(repr(sorted(book.pipe_states(v.id).items())) for v in visits if v.is_open),
        *(f"{e.id} {e.starts_at.isoformat()} {e.stops} {e.air_celsius}" for e in coming),
        repr(changes_of(book, kept.id)),
    ]  # fmt: skip
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()


def _read(place: Path, events: int) -> tuple[Curve, tuple[EventNeed, ...]] | None:
    """What was kept, or None if there is nothing, or it is damaged."""
    try:
        kept = _Kept.model_validate_json(place.read_bytes())
    except (OSError, ValidationError):
        return None
    if events and len(kept.events) != events:
        return None
    curve = Curve(tuple(at for at, _ in kept.curve), tuple(value for _, value in kept.curve))
    return curve, tuple(EventNeed(week, unvisited) for week, unvisited in kept.events)


def _keep(place: Path, curve: Curve, events: tuple[EventNeed, ...]) -> None:
    """Write the file whole or not at all; a folder that cannot be written is left alone."""
    document = {
        "format": 1,
        "curve": list(zip(curve.weeks, curve.readiness, strict=True)),
        "events": [(event.week, event.unvisited) for event in events],
    }
    with contextlib.suppress(OSError, InputError):
        place.parent.mkdir(exist_ok=True)
        write_file(json.dumps(document).encode(), place, what="forecast")
        files = sorted(place.parent.glob("round-*.json"), key=lambda f: f.stat().st_mtime)
        for old in files[:-MOST_KEPT]:
            old.unlink()
