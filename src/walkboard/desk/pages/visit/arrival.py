"""Opening a visit, and the conditions: on arrival, and noted again as they change."""

from __future__ import annotations

from collections.abc import Mapping

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import Conditions
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.visit.frame import (
    AtVisit,
    number_in,
    render_step,
    surely_at_work,
    to_visit,
    visit_at_work,
)
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import in_a_field
from walkboard.errors import InputError, WalkboardError
from walkboard.organ.model import Organ
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.snapshot import described

Given = Mapping[str, str]
_LONGEST_WORDS = 4000
USUAL_MINUTES = "120"


def visit(request: Request) -> Response:
    """The visit's first page: its conditions; or, where none is open, the way to open one."""
    at = visit_at_work(request)
    if at is None:
        return _not_open(request, {"minutes": USUAL_MINUTES}, None, 200)
    return _arrival(request, {}, None, 200)


async def arrival(request: Request) -> Response:
    """GET: the conditions. POST: note them again."""
    if request.method == "GET":
        return await run_in_threadpool(visit, request)
    given = await _form(request)
    return await run_in_threadpool(_note, request, given)


async def open_visit(request: Request) -> Response:
    """Open a visit with its conditions on arrival."""
    given = await _form(request)
    return await run_in_threadpool(_open, request, given)


def _open(request: Request, given: Given) -> Response:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    try:
        minutes = number_in(given.get("minutes", ""), say("visit.minutes"))
        if minutes is not None and not 0.0 < minutes <= 960.0:
            raise InputError(say("visit.minutes_what"), fix=say("visit.minutes_fix"))
        conditions = _conditions(organ, given)
        purpose = given.get("purpose", "").strip()[:_LONGEST_WORDS]
        desk.book.open_visit(kept.id, purpose, minutes=minutes, conditions=conditions)
    except WalkboardError as error:
        return _not_open(request, given, error, 400)
    return to_visit(request, "listen")


def _note(request: Request, given: Given) -> Response:
    at = surely_at_work(request)
    try:
        conditions = _conditions(at.organ, given)
        if conditions is None:
            raise InputError(say("visit.nothing_noted_what"), fix=say("visit.nothing_noted_fix"))
        if "correct" in given and at.visit.conditions:
            _correct(at, conditions)
        else:
            at.desk.book.note_conditions(at.visit.id, conditions)
    except WalkboardError as error:
        return _arrival(request, given, error, 400)
    return to_visit(request, "arrival")


def _correct(at: AtVisit, given: Conditions) -> None:
    """Replace the last figures noted by those given; the others stay."""
    from walkboard.work.second_thoughts import correct_conditions  # noqa: PLC0415 - slow to load

    correct_conditions(
        at.desk.book,
        at.organ,
        at.visit,
        air_celsius=given.air_celsius,
        humidity=given.humidity,
        wind_mm=given.wind_mm,
    )


def _arrival(
    request: Request, given: Given, trouble: WalkboardError | None, status: int
) -> Response:
    at = surely_at_work(request)
    return render_step(
        request,
        at,
        "arrival",
        "visit/arrival.html",
        status=status,
        air=latest_air(at.visit),
        noted=tuple(reversed(at.visit.conditions)),
        given=given,
        trouble=trouble,
    )


def _not_open(
    request: Request, given: Given, trouble: WalkboardError | None, status: int
) -> Response:
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    visits = desk.book.visits(kept.id)
    last = visits[-1] if visits else None
    if last is not None and last.is_open:  # opened by somebody else in the meantime
        return RedirectResponse(f"/organ/{kept.id}/visit", 303)
    return render(
        request,
        "visit/none.html",
        status=status,
        organ=described(desk.book, kept),
        last=last,
        given=given,
        trouble=trouble,
    )


async def _form(request: Request) -> Given:
    form = await request.form()
    return {name: str(value) for name, value in form.items()}


def _conditions(organ: Organ, given: Given) -> Conditions | None:
    """What was typed; None if nothing was."""
    from walkboard.work.visit import checked_conditions  # noqa: PLC0415 - slow to load

    air, wind = {}, {}
    for division in organ.divisions:
        celsius = number_in(given.get(f"air.{division.id}", ""), say("visit.air"))
        mm = number_in(given.get(f"wind.{division.id}", ""), say("visit.wind"))
        if celsius is not None:
            air[division.id] = celsius
        if mm is not None:
            wind[division.id] = mm
    percent = number_in(given.get("humidity", ""), say("visit.humidity"))
    if not air and not wind and percent is None:
        return None
    if percent is not None and not 0.0 <= percent <= 100.0:
        raise InputError(
            say("visit.humidity_what", percent=in_a_field(percent)), fix=say("visit.humidity_fix")
        )
    humidity = None if percent is None else percent / 100.0
    return checked_conditions(organ, air, humidity, wind)
