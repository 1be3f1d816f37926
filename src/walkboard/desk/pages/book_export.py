"""Files to take with one: a table at once, the whole book made in its own process."""

from __future__ import annotations

from typing import Any

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from walkboard.book.records import KeptOrgan
from walkboard.desk.background.exports import ENDINGS
from walkboard.desk.frame.access import visitor_of
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.permissions import Permission
from walkboard.work.calendar import events

_TYPES = {
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "json": "application/json",
    "pdf": "application/pdf",
}


def export_rows(desk: Desk, kept: KeptOrgan) -> list[dict[str, Any]]:
    """What the book's page shows of each file of the whole book."""
    rows = []
    for ending in ENDINGS:
        made = desk.exports.made(kept.id, ending)
        rows.append(
            {
                "ending": ending,
                "working": desk.exports.working(desk, kept.id, ending),
                "trouble": desk.exports.trouble(desk, kept.id, ending),
                "made": made,
                "is_old": made is not None and made.change != desk.book.change(),
            }
        )
    return rows


def make(request: Request) -> Response:
    """Begin to make a file of the whole book; the book's page follows how far it is."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    ending = request.path_params["ending"]
    if ending not in ENDINGS:
        raise HTTPException(404)
    desk.exports.make(desk, kept, ending, events.today())
    return RedirectResponse(f"/organ/{kept.id}/book#export-{ending}", 303)


def export(request: Request) -> Response:
    """A table of the book, or the file of the whole that was made last."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    name, _, ending = request.path_params["file"].rpartition(".")
    disposition = f'attachment; filename="{name}.{ending}"'
    headers = {"Content-Disposition": disposition}
    if name == "book" and ending in ENDINGS:
        if not visitor_of(request).may(Permission.TAKE_BOOK, kept.id):
            raise HTTPException(403)
        made = desk.exports.made(kept.id, ending)
        if made is None:
            raise HTTPException(404)
        return FileResponse(made.file, media_type=_TYPES[ending], headers=headers)
    from walkboard.work import export as export_work  # noqa: PLC0415 - not wanted when the desk opens

    if ending != "csv" or name not in export_work.TABLES:
        raise HTTPException(404)
    data = export_work.as_csv(export_work.table(desk.book, kept, name))
    return Response(data, media_type=_TYPES[ending], headers=headers)
