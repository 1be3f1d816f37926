"""Closing a visit, and its printed sheets."""

from __future__ import annotations

import tempfile
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.background import upload_queue
from walkboard.desk.frame.rendering import render
from walkboard.desk.live.start import take_in_killed
from walkboard.desk.pages.visit.frame import (
    asked_visit,
    render_step,
    surely_at_work,
    to_visit,
    visit_at_work,
)
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError
from walkboard.work.worklist import progress_of, work_groups

_LONGEST_NOTE = 20_000
SHEETS = ("worklist", "report")


def closing(request: Request) -> Response:
    """What the visit did, its sheets, and the way to close it."""
    return _draw(request)


def _draw(request: Request, note: str = "", trouble: InputError | None = None) -> Response:
    at = visit_at_work(request)
    if at is None:
        return to_visit(request)
    groups = work_groups(at.desk.book, at.visit)
    faults = at.desk.book.open_faults(at.kept.id)
    return render_step(
        request,
        at,
        "close",
        "visit/close.html",
        status=200 if trouble is None else 400,
        trouble=trouble,
        note=note,
        progress=None if groups is None else progress_of(groups),
        heard=len(at.desk.book.recording_airs(at.visit.id)),
        pipes=len(at.desk.book.best_readings(at.visit.id)),
        faults=faults,
        coming=upload_queue.waiting(at.desk.book.path, at.visit.id),
        skipped=[(g, s) for g in groups or () for s in g.steps if s.state == "skipped"],
    )


async def close(request: Request) -> Response:
    """Close the visit for good."""
    form = await request.form()
    note = str(form.get("note", "")).strip()[:_LONGEST_NOTE]
    return await run_in_threadpool(_close, request, note, "sure" in form)


def _close(request: Request, note: str, is_sure: bool) -> Response:
    at = surely_at_work(request)
    groups = work_groups(at.desk.book, at.visit)
    still_open = 0 if groups is None else progress_of(groups).open
    if still_open and not is_sure:
        trouble = InputError(
            say("visit.close_open_what", n=still_open), fix=say("visit.close_open_fix")
        )
        return _draw(request, note, trouble)
    # What was heard live belongs to the visit; once it is closed, nothing more comes to it.
    run = at.desk.listening.run
    if run is not None and run.visit_id == at.visit.id:
        at.desk.listening.stop()
    take_in_killed(at.desk.book, at.visit.id)
    at.desk.book.close_visit(at.visit.id, note)
    return RedirectResponse(f"/organ/{at.kept.id}/visit/{at.visit.id}/closed", 303)


def closed(request: Request) -> Response:
    """A visit that is over, with its sheets."""
    at = asked_visit(request)
    if at.visit.is_open:
        return to_visit(request, "close")
    groups = work_groups(at.desk.book, at.visit)
    return render(
        request,
        "visit/closed.html",
        organ=at.organ,
        visit=at.visit,
        progress=None if groups is None else progress_of(groups),
        heard=len(at.desk.book.recording_airs(at.visit.id)),
    )


def sheet(request: Request) -> Response:
    """A printed sheet of the visit's present state, as PDF."""
    from walkboard.work.print_sheets import (  # noqa: PLC0415 - slow to load
        print_report,
        print_worklist,
    )

    at = asked_visit(request)
    name = request.path_params["sheet"]
    if name not in SHEETS:
        raise HTTPException(404)
    making = print_worklist if name == "worklist" else print_report
    with tempfile.TemporaryDirectory(prefix="walkboard-") as folder:
        made = making(at.desk.book, at.organ, at.visit, Path(folder) / f"{name}.pdf").read_bytes()
    day = at.visit.opened_at.astimezone().date().isoformat()
    disposition = f'inline; filename="{name}-{day}.pdf"'
    return Response(
        made, media_type="application/pdf", headers={"Content-Disposition": disposition}
    )
