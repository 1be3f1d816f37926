"""The logged air: loggers' files in, charts with visits and events, and what they say is coming."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, QueryParams, UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.venue.records import OUTDOORS
from walkboard.desk.background.uploads import Upload
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.fault_forms import plain
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError, WalkboardError
from walkboard.languages.spoken import language
from walkboard.organ.model import Organ
from walkboard.plausible import AIR_CELSIUS

_LARGEST_FILE = 16 << 20
_FIRST_READINGS = 5  # shown before a file is kept
_LONGEST_SHIFT_MINUTES = 60 * 24 * 366


def air(request: Request) -> Response:
    """The charts, the forecast, the logs, and the form for another."""
    return _draw(request)


async def send(request: Request) -> Response:
    """Take a logger's file, and go to the page that asks how it is meant."""
    async with request.form(max_files=1, max_fields=2) as given:
        upload = given.get("file")
        if not isinstance(upload, UploadFile):
            raise InputError(say("air.no_file"))
        data, place = await upload.read(), plain(given.get("place", ""), 200)
        return await run_in_threadpool(_sent, request, data, upload.filename or "", place)


def ask(request: Request) -> Response:
    """How a file was understood; each guess can be changed before it is kept."""
    return _ask(request, request.query_params)


async def keep(request: Request) -> Response:
    """Keep a file's readings as they were shown."""
    given = await request.form(max_files=0, max_fields=12)
    return await run_in_threadpool(_keep, request, given)


@dataclass(frozen=True, slots=True)
class _Meant:
    """How the sender means a file.

    Attributes
    ----------
    said : mapping
        Fields of the reader's guess that were changed.
    shift_minutes : float
    in_place_of : int or None
    """

    said: Mapping[str, object]
    shift_minutes: float
    in_place_of: int | None


def _meant(given: FormData | QueryParams, time_format: str | None) -> _Meant:
    from walkboard.work.conditions.logger_csv import other_order  # noqa: PLC0415 - loads late

    said: dict[str, object] = {}
    column, damp = (plain(given.get(name, ""), 4) for name in ("column", "humidity"))
    if column:
        said["celsius_column"] = _whole(column)
    if damp:
        said["humidity_column"] = None if damp == "none" else _whole(damp)
    unit = plain(given.get("unit", ""), 1)
    if unit:
        said["is_fahrenheit"] = unit == "F"
    if given.get("swap") and time_format is not None:
        said["time_format"] = other_order(time_format) or time_format
    text = plain(given.get("shift", ""), 12).replace(",", ".") or "0"
    try:
        shift = float(text)
    except ValueError:
        raise InputError(f"{text!r} is no number of minutes.", fix="Write it as 60.") from None
    if not abs(shift) <= _LONGEST_SHIFT_MINUTES:
        raise InputError("A clock is not that far out.", fix="Say the minutes, as 60.")
    place = plain(given.get("in_place_of", ""), 12)
    return _Meant(said, shift, _whole(place) if place else None)


def _whole(text: str) -> int:
    if not text.isascii() or not text.isdecimal():
        raise InputError(f"{text!r} is no number of a column or log.", fix="Choose from the list.")
    return int(text)


def _sent(request: Request, data: bytes, name: str, place: str) -> Response:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    if place not in _places(organ):
        raise InputError(say("air.no_place"))
    upload = Upload(kept.id, plain(name, 300), place, data)
    try:
        _read(upload, _meant(QueryParams(), None))
    except WalkboardError as error:
        return _draw(request, trouble=error, status=400)
    return RedirectResponse(f"/organ/{kept.id}/air/file/{desk.uploads.keep(upload)}", 303)


def _ask(
    request: Request, given: FormData | QueryParams, *, trouble: WalkboardError | None = None
) -> Response:
    from walkboard.work.conditions.clock import clock_questions  # noqa: PLC0415 - loads late
    from walkboard.work.conditions.logger_csv import other_order  # noqa: PLC0415 - as above

    desk = desk_of(request)
    kept, organ = desk.organ(request)
    upload = _upload(request)
    found = _read(upload, _meant(QueryParams(), None))  # as understood without corrections
    usual = found.guess
    if trouble is None:
        try:
            found = _read(upload, _meant(given, usual.time_format))
        except WalkboardError as error:
            trouble = error
    logs = desk.book.air_logs(kept.id)
    zone, now = _zone_and_now()
    at = [timedelta(minutes=m) + found.log.starts_at for m in found.log.minutes[:_FIRST_READINGS]]
    return render(
        request,
        "air/file.html",
        status=200 if trouble is None else 400,
        trouble=trouble,
        upload=upload,
        log_place=_places(organ)[upload.place],
        token=request.path_params["token"],
        found=found,
        guess=found.guess,
        can_swap=other_order(usual.time_format) is not None,
        questions=(
            *found.questions,
            *clock_questions(found.log, logs, desk.book.visits(kept.id), now=now, zone=zone),
        ),
        readings=[
            (
                moment.astimezone(zone),
                celsius,
                found.log.humidity[n] if found.log.humidity else None,
            )
            for n, (moment, celsius) in enumerate(zip(at, found.log.celsius, strict=False))
        ],
        logs=[log for log in logs if log.place == upload.place],
        given={name: given.get(name, "") for name in ("shift", "in_place_of", "swap")},
    )


def _keep(request: Request, given: FormData) -> Response:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    upload = _upload(request)
    try:
        usual = _read(upload, _meant(QueryParams(), None)).guess
        meant = _meant(given, usual.time_format)
        log = _read(upload, meant).log
        desk.book.keep_air_log(kept.id, log, in_place_of=meant.in_place_of)
    except WalkboardError as error:
        return _ask(request, given, trouble=error)
    desk.uploads.drop(request.path_params["token"])
    return RedirectResponse(f"/organ/{kept.id}/air", 303)


def _upload(request: Request) -> Upload:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    found = desk.uploads.get(request.path_params["token"], kept.id)
    if found is None:
        raise HTTPException(404)
    return found


def _read(upload: Upload, meant: _Meant) -> Any:
    from walkboard.work.conditions.logger_csv import read_log  # noqa: PLC0415 - loads late

    zone, _ = _zone_and_now()
    return read_log(
        upload.data,
        place=upload.place,
        file_name=upload.name,
        zone=zone,
        shift=timedelta(minutes=meant.shift_minutes),
        **meant.said,
    )


def _zone_and_now() -> tuple[Any, Any]:
    from walkboard.work.calendar.events import local_zone  # noqa: PLC0415 - loads late
    from walkboard.work.open_book import now  # noqa: PLC0415 - as above

    return local_zone(), now()


def _places(organ: Organ) -> dict[str, str]:
    return {d.id: d.name for d in organ.divisions} | {OUTDOORS: say("air.outdoors")}


def _outdoors(request: Request) -> float | None:
    text = plain(request.query_params.get("outdoors", ""), 10).replace(",", ".")
    if not text:
        return None
    try:
        celsius = float(text.replace("−", "-"))
    except ValueError:
        raise InputError(f"{text!r} is no temperature.", fix="Write it as -3.5.") from None
    AIR_CELSIUS.check(celsius)
    return celsius


def _draw(
    request: Request, *, trouble: WalkboardError | None = None, status: int = 200
) -> Response:
    from walkboard.sheets.front_page.news import Language  # noqa: PLC0415 - loads late
    from walkboard.work.conditions.words import air_words  # noqa: PLC0415 - as above

    desk = desk_of(request)
    kept, organ = desk.organ(request)
    outdoors: float | None = None
    try:
        outdoors = _outdoors(request)
    except WalkboardError as error:
        trouble, status = error, 400
    spoken = Language(language())
    ahead = _ahead(desk, kept.id, organ, outdoors)
    return render(
        request,
        "air.html",
        status=status,
        trouble=trouble,
        ahead=ahead,
        words=() if ahead is None else air_words(organ, ahead, spoken),
        charts=[] if ahead is None else _charts(desk, kept.id, organ, ahead, spoken),
        rows=[] if ahead is None else _rows(organ, ahead),
        log_places=_places(organ),
        logs=desk.book.air_logs(kept.id),
        outdoors=request.query_params.get("outdoors", ""),
        largest_mb=_LARGEST_FILE >> 20,
    )


def _ahead(desk: Desk, organ_id: int, organ: Organ, outdoors: float | None) -> Any:
    from walkboard.work.conditions.air_ahead import air_ahead  # noqa: PLC0415 - loads late

    _, now = _zone_and_now()
    key = ("air", organ_id, outdoors, now.replace(minute=0, second=0, microsecond=0))
    return desk.book.memory.get(
        (*key, desk.book.change()),
        lambda: air_ahead(desk.book, organ_id, organ, now=now, outdoors_celsius=outdoors),
    )


def _charts(
    desk: Desk, organ_id: int, organ: Organ, ahead: Any, spoken: Any
) -> list[tuple[str, Markup]]:
    from walkboard.work.conditions.chart import air_chart, humidity_chart  # noqa: PLC0415 - late

    visits, events = desk.book.visits(organ_id), desk.book.events(organ_id)
    # The drawings are SVG of our own, with every name in them escaped.
    made = [(say("air.chart"), Markup(air_chart(organ, ahead, visits, events, spoken)))]  # noqa: S704
    places = _places(organ)
    for place, band in ahead.humidity.items():
        heading = say("air.humidity_at", place=places.get(place, place))
        made.append((heading, Markup(humidity_chart(organ, place, band, ahead, spoken))))  # noqa: S704
    return made


def _rows(organ: Organ, ahead: Any) -> list[dict[str, Any]]:
    return [
        {"division": organ.division(one.division).name, "heated": heated}
        for one in ahead.divisions
        for heated in one.heated
    ]


PAGE = Page(
    "air",
    (
        Door("/organ/{organ:int}/air", air, Permission.READ_RECORDS),
        Door(
            "/organ/{organ:int}/air",
            send,
            Permission.RECORD,
            ("POST",),
            largest_bytes=_LARGEST_FILE + 65_536,
        ),
        Door("/organ/{organ:int}/air/file/{token}", ask, Permission.RECORD),
        Door("/organ/{organ:int}/air/file/{token}", keep, Permission.RECORD, ("POST",)),
    ),
)
