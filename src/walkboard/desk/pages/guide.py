"""The guide: what each stop sounds like, made for those who may have it, and the tuning files."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response

from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.fault_forms import plain
from walkboard.desk.text.catalogue import say
from walkboard.errors import WalkboardError
from walkboard.languages.spoken import LANGUAGES, language
from walkboard.sheets.keyholder import full_stop_words

if TYPE_CHECKING:
    from walkboard.book.records import KeptVisit

ENDING = "guide.zip"
_LONGEST_RIGHTS = 400
_MOST_STOPS = 400


def guide(request: Request) -> Response:
    """What can be made, and the last one made."""
    return _draw(request)


async def make(request: Request) -> Response:
    """Begin to make the guide; the page follows how far it is."""
    given = await request.form(max_files=0, max_fields=_MOST_STOPS)
    return await run_in_threadpool(_make, request, given)


def give(request: Request) -> Response:
    """The guide that was made last."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    made = desk.exports.made(kept.id, ENDING)
    if made is None:
        raise HTTPException(404)
    return _zip(FileResponse(made.file, media_type="application/zip"), "guide")


def tuning(request: Request) -> Response:
    """The tuning files of a visit."""
    from walkboard.work.guide.zipped import described_at, tuning_zip  # noqa: PLC0415 - loads late

    desk = desk_of(request)
    kept, _ = desk.organ(request)
    visit = _visit(desk, kept.id, plain(request.query_params.get("visit", ""), 12))
    try:
        data = tuning_zip(desk.book, described_at(desk.book, kept, visit), visit)
    except WalkboardError as error:
        return _draw(request, trouble=error)
    return _zip(Response(data, media_type="application/zip"), "tuning")


def _make(request: Request, given: FormData) -> Response:
    from walkboard.work.guide.zipped import write_guide_zip  # noqa: PLC0415 - loads late

    desk = desk_of(request)
    kept, organ = desk.organ(request)
    visit = _visit(desk, kept.id, plain(given.get("visit", ""), 12))
    spoken = plain(given.get("language", ""), 2)
    known = {stop.id for stop in organ.stops}
    meant = [plain(stop, 200) for stop in given.getlist("stops")]
    making = partial(
        write_guide_zip,
        visit_id=visit.id,
        with_sound=bool(meant),
        without=tuple(sorted(known - set(meant))),
        rights=plain(given.get("rights", ""), _LONGEST_RIGHTS),
        language=spoken if spoken in LANGUAGES else language(),
    )
    desk.exports.begin(desk, kept, ENDING, say("guide.making"), making)
    return RedirectResponse(f"/organ/{kept.id}/guide", 303)


def _visit(desk: Desk, organ_id: int, number: str) -> KeptVisit:
    found = {str(visit.id): visit for visit in desk.book.visits(organ_id)}
    if number not in found:
        raise HTTPException(404)
    return found[number]


def _draw(request: Request, *, trouble: WalkboardError | None = None) -> Response:
    from walkboard.work.guide.zipped import visits_with_sound  # noqa: PLC0415 - loads late

    desk = desk_of(request)
    kept, organ = desk.organ(request)
    found = desk.book.seen(("guide", kept.id), lambda: visits_with_sound(desk.book, kept.id))
    visits = [desk.book.visit(visit_id) for visit_id in found]
    recorded = {stop for stops in found.values() for stop in stops}
    made = desk.exports.made(kept.id, ENDING)
    return render(
        request,
        "guide.html",
        status=200 if trouble is None else 400,
        trouble=trouble,
        visits=visits,
        stops=[
            (stop.id, full_stop_words(organ, stop)) for stop in organ.stops if stop.id in recorded
        ],
        working=desk.exports.working(desk, kept.id, ENDING),
        failed=desk.exports.trouble(desk, kept.id, ENDING),
        made=made,
        made_mb=0.0 if made is None else made.bytes / 1e6,
        is_old=made is not None and made.change != desk.book.change(),
        guide_languages=LANGUAGES,
        longest_rights=_LONGEST_RIGHTS,
    )


def _zip(answer: Response, name: str) -> Response:
    answer.headers["Content-Disposition"] = f'attachment; filename="{name}.zip"'
    return answer


PAGE = Page(
    "guide",
    (
        Door("/organ/{organ:int}/guide", guide, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/guide", make, Permission.RECORD, ("POST",)),
        Door("/organ/{organ:int}/guide/guide.zip", give, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/guide/tuning.zip", tuning, Permission.READ_RECORDS),
    ),
)
