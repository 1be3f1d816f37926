"""The calendar: what the organ must be ready for, whether it will be, and when to come."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, date, datetime
from textwrap import shorten
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import KeptEvent, KeptOrgan
from walkboard.desk.background.readiness import rests_on
from walkboard.desk.drawing.calendar_strip import StripEvent, strip_of
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.fault_forms import choices, plain
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.stops import stops_listed
from walkboard.errors import InputError, WalkboardError
from walkboard.organ.model import Organ
from walkboard.sheets.keyholder import full_stop_words
from walkboard.work.calendar import events as work
from walkboard.work.calendar.coming import MOST_EVENTS, ComingEvent

_PAST_SHOWN = 30
_LONGEST_LABEL = 34  # letters on the strip
_MOST_STOPS = 400
_LARGEST_UPLOAD = (2 << 20) + 65_536


def calendar(request: Request) -> Response:
    """The events to come with their readiness, the strip, and calendars in and out."""
    return _draw(request)


async def take(request: Request) -> Response:
    """Import a calendar file."""
    async with request.form(max_files=1, max_fields=2) as given:
        upload = given.get("file")
        if not isinstance(upload, UploadFile):
            return await run_in_threadpool(_taken, request, b"", "")
        return await run_in_threadpool(_taken, request, await upload.read(), upload.filename or "")


def give(request: Request) -> Response:
    """The calendar as a file."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    return Response(
        work.calendar_bytes(desk.book, kept),
        media_type="text/calendar",
        headers={"Content-Disposition": 'attachment; filename="events.ics"'},
    )


def event(request: Request) -> Response:
    """The form of one event, or of a new one."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    uid = request.query_params.get("uid")
    found = None if uid is None else work.event_of(desk.book, kept.id, uid)
    versions = [] if found is None else desk.book.event_versions(kept.id, found.uid)
    local = None if found is None else found.starts_at.astimezone(work.local_zone())
    return render(
        request,
        "calendar/event.html",
        event=found,
        day=f"{local:%Y-%m-%d}" if local else "",
        time=f"{local:%H:%M}" if local else "",
        choices=choices(organ),
        stops_of=_stops_of(organ),
        versions=versions[:-1],
        longest_title=work.LONGEST_TITLE,
    )


async def keep(request: Request) -> Response:
    """Store a new or changed event."""
    given = await request.form(max_files=0, max_fields=_MOST_STOPS)
    return await run_in_threadpool(_keep, request, given)


async def cancel(request: Request) -> Response:
    """Cancel an event, or restore it."""
    given = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_cancel, request, given)


def work_out(request: Request) -> Response:
    """Calculate the readiness for the next events; the page shows the progress."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    if desk.readiness.working(desk, kept.id) is None:
        desk.readiness.work_out(desk, kept, work.today())
    return _back(kept)


def _keep(request: Request, given: FormData) -> Response:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    air = plain(given.get("air", ""), 10).replace(",", ".")
    try:
        celsius = float(air) if air else None
    except ValueError:
        raise InputError(f"{air!r} is no temperature.", fix="Write it as 19.5.") from None
    day, time = plain(given.get("day", ""), 10), plain(given.get("time", ""), 8)
    starts_at = work.moment(f"{day}T{time}")
    work.keep_by_hand(
        desk.book,
        kept,
        organ,
        plain(given.get("title", ""), work.LONGEST_TITLE),
        starts_at.replace(tzinfo=None),
        stops=[plain(stop, 200) for stop in given.getlist("stops")],
        air_celsius=celsius,
        uid=plain(given.get("uid", ""), 2000) or None,
    )
    return _back(kept)


def _cancel(request: Request, given: FormData) -> Response:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    found = work.event_of(desk.book, kept.id, plain(given.get("uid", ""), 2000))
    if found.cancelled:
        desk.book.keep_event(
            kept.id,
            found.uid,
            found.starts_at,
            found.title,
            stops=found.stops,
            air_celsius=found.air_celsius,
        )
    else:
        desk.book.cancel_event(kept.id, found.uid)
    return _back(kept)


def _taken(request: Request, data: bytes, name: str) -> Response:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    try:
        taken = work.take_in_calendar(desk.book, kept.id, data, where=plain(name, 300))
    except WalkboardError as error:
        return _draw(request, trouble=error, status=400)
    return _draw(request, taken=taken)


def _draw(
    request: Request,
    *,
    taken: work.Taken | None = None,
    trouble: WalkboardError | None = None,
    status: int = 200,
) -> Response:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    present = datetime.now(UTC)
    every = desk.book.events(kept.id)
    ahead = [e for e in every if e.starts_at >= present and not e.cancelled]
    past = [e for e in every if e.starts_at < present and not e.cancelled]
    worked = desk.readiness.known(kept.id)
    found = {} if worked is None else {one.event_id: one for one in worked.found}
    return render(
        request,
        "calendar.html",
        status=status,
        has_visits=bool(desk.book.visits(kept.id)),
        working=desk.readiness.working(desk, kept.id),
        worked=worked,
        is_old=worked is not None and worked.rests_on != rests_on(desk.book, kept),
        stop_names=_stops_of(organ),
        most=MOST_EVENTS,
        organ_name=kept.name,
        rows=[_row(organ, e) | {"coming": found.get(e.id)} for e in ahead],
        past=[_row(organ, e) for e in past[: -_PAST_SHOWN - 1 : -1]],
        cancelled=[_row(organ, e) for e in every if e.cancelled and e.starts_at >= present],
        strip=_strip(desk, kept, ahead, past, found),
        taken=taken,
        trouble=trouble,
    )


def _row(organ: Organ, found: KeptEvent) -> dict[str, Any]:
    return {
        "event": found,
        "title": found.title or say("calendar.untitled"),
        "stops": stops_listed(organ, found.stops),
    }


def _strip(
    desk: Desk,
    kept: KeptOrgan,
    ahead: list[KeptEvent],
    past: list[KeptEvent],
    found: Mapping[int, ComingEvent],
) -> Any:
    zone = work.local_zone()
    today = work.today()
    events = [
        StripEvent(
            (day := e.starts_at.astimezone(zone).date()),
            shorten(e.title or say("calendar.untitled"), _LONGEST_LABEL, placeholder="…"),
            f"{_short(day)}: {e.title or say('calendar.untitled')}",
            calls=e.id in found and not found[e.id].is_ready,
        )
        for e in [*past, *ahead]
    ]
    visits = [
        (
            v.opened_at.astimezone(zone).date(),
            say("calendar.visit_mark", purpose=v.purpose),
        )
        for v in desk.book.visits(kept.id)
    ]
    spans = [
        (
            one.visit_from,
            one.visit_by,
            say("calendar.span", first=_short(one.visit_from), last=_short(one.visit_by)),
        )
        for one in found.values()
        if one.visit_from is not None and not one.is_ready
    ]
    return strip_of(today, events, visits, spans, _months())


def _short(day: date) -> str:
    return f"{day.day} {_months()[day.month - 1]}"


def _months() -> list[str]:
    return say("calendar.months").split()


def _stops_of(organ: Organ) -> Mapping[str, str]:
    return {stop.id: full_stop_words(organ, stop) for stop in organ.stops}


def _back(kept: KeptOrgan) -> Response:
    return RedirectResponse(f"/organ/{kept.id}/calendar", 303)


PAGE = Page(
    "calendar",
    (
        Door("/organ/{organ:int}/calendar", calendar, Permission.READ_CALENDAR),
        Door(
            "/organ/{organ:int}/calendar",
            take,
            Permission.KEEP_CALENDAR,
            ("POST",),
            largest_bytes=_LARGEST_UPLOAD,
        ),
        Door("/organ/{organ:int}/calendar/events.ics", give, Permission.READ_CALENDAR),
        Door("/organ/{organ:int}/calendar/event", event, Permission.KEEP_CALENDAR),
        Door("/organ/{organ:int}/calendar/event", keep, Permission.KEEP_CALENDAR, ("POST",)),
        Door("/organ/{organ:int}/calendar/cancel", cancel, Permission.KEEP_CALENDAR, ("POST",)),
        Door(
            "/organ/{organ:int}/calendar/readiness", work_out, Permission.KEEP_CALENDAR, ("POST",)
        ),
    ),
    place="/organ/{organ}/calendar",
    rank=70,
)
