"""The firm's round: which organs in which weeks, by whom; a map; a calendar for each tuner."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from itertools import groupby
from typing import Any

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.background.jobs import Job, JobState
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say
from walkboard.work.calendar.events import today
from walkboard.work.rounds.kept_round import (
    FIRM,
    WEEKS,
    calendar_of,
    has_firm,
    kept_round,
    plan_kept_round,
)

KIND = "round"


def round_page(request: Request) -> Response:
    """The weeks, the map and the calendars; or how to begin."""
    desk = desk_of(request)
    found = kept_round(desk.book.path)
    job = _last_job(desk)
    return render(
        request,
        "round.html",
        firm=FIRM,
        folder=desk.book.path.name,
        has_firm=has_firm(desk.book.path),
        weeks=WEEKS,
        working=job if job is not None and not job.is_over else None,
        trouble=job.trouble if job is not None and job.state is JobState.FAILED else "",
        at=None if found is None else found.at,
        made=None if found is None else found.document,
        # Drawn by our own code; every word in it is escaped there.
        map=None if found is None else Markup(found.map),  # noqa: S704
        by_week=[] if found is None else _by_week(found.document["visits"]),
    )


def work_out(request: Request) -> Response:
    """Plan the round; the page follows how far it is."""
    desk = desk_of(request)
    job = _last_job(desk)
    if has_firm(desk.book.path) and (job is None or job.is_over):
        desk.jobs.start(
            KIND, say("round.working"), plan_kept_round, desk.book.path, today(), subject=KIND
        )
    return RedirectResponse("/round", 303)


def calendar(request: Request) -> Response:
    """A tuner's calendar as a file."""
    desk = desk_of(request)
    name = request.path_params["tuner"]
    data = calendar_of(desk.book.path, name)
    if data is None:
        raise HTTPException(404)
    return Response(
        data,
        media_type="text/calendar",
        headers={"Content-Disposition": 'attachment; filename="round.ics"'},
    )


def _last_job(desk: Desk) -> Job | None:
    mine = [job for job in desk.jobs.all() if job.kind == KIND]
    return mine[-1] if mine else None


def _by_week(visits: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    return [
        {"monday": date.fromisoformat(week), "visits": list(there)}
        for week, there in groupby(visits, key=lambda one: one["week"])
    ]


PAGE = Page(
    "round",
    (
        Door("/round", round_page, Permission.PLAN_ROUNDS),
        Door("/round", work_out, Permission.PLAN_ROUNDS, ("POST",)),
        Door("/round/{tuner}.ics", calendar, Permission.PLAN_ROUNDS),
    ),
)
