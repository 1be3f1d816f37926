"""Page 1 of the last report for the venue, at `/venue/TOKEN` with the token of the console card. It
can be read without an account, in three languages, and saved as one file that needs no desk.
"""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, Response

from walkboard.desk.frame import console_cards
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.languages.spoken import language as spoken_language
from walkboard.sheets.front_page.news import FrontPage, Language
from walkboard.sheets.front_page.to_html import front_page_html
from walkboard.work.snapshot import organ_at


def venue(request: Request) -> Response:
    """The page."""
    page = _front_page(request)
    return render(
        request,
        "venue.html",
        front=page,
        languages=[one.value for one in Language],
        at=f"/venue/{request.path_params['token']}",
    )


def keep(request: Request) -> Response:
    """The same as a file to keep."""
    return _file(_front_page(request))


def report(request: Request) -> Response:
    """The page for people who have signed in for the organ."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    if not desk.book.visits(kept.id):
        return render(request, "venue_none.html", organ_name=kept.name)
    return render(
        request,
        "venue.html",
        front=_page_of(request, kept.id),
        languages=[one.value for one in Language],
        at=f"/organ/{kept.id}/report",
    )


def keep_report(request: Request) -> Response:
    """The same as a file to keep."""
    kept, _ = desk_of(request).organ(request)
    return _file(_page_of(request, kept.id))


def _front_page(request: Request) -> FrontPage:
    """The page of the organ that a card's token is of."""
    desk = desk_of(request)
    organ_id = console_cards.organ_of(desk.book.path, request.path_params["token"])
    if organ_id is None or all(kept.id != organ_id for kept in desk.book.organs()):
        raise HTTPException(404)
    return _page_of(request, organ_id)


def _file(page: FrontPage) -> Response:
    name = f"organ-{page.day.isoformat()}-{page.language.value}.html"
    return HTMLResponse(
        front_page_html(page), headers={"Content-Disposition": f'attachment; filename="{name}"'}
    )


def _page_of(request: Request, organ_id: int) -> FrontPage:
    from walkboard.sheets.front_page.build import front_page  # noqa: PLC0415 - loads late
    from walkboard.work.venue_news import venue_news  # noqa: PLC0415 - as above

    desk = desk_of(request)
    asked = request.query_params.get("language", spoken_language())
    if asked not in set(Language):
        raise HTTPException(404)
    language = Language(asked)
    visits = [v for v in desk.book.visits(organ_id) if not v.is_open] or list(
        desk.book.visits(organ_id)
    )
    if not visits:
        raise HTTPException(404)
    visit = visits[-1]
    # Worked out once for each change of the book: strangers may ask as often as they like.
    return desk.book.memory.get(
        ("front page", visit.id, language, desk.book.change()),
        lambda: front_page(venue_news(desk.book, organ_at(desk.book, visit), visit), language),
    )


PAGE = Page(
    "venue",
    (
        Door("/venue/{token}", venue, Permission.OPEN),
        Door("/venue/{token}/keep", keep, Permission.OPEN),
        Door("/organ/{organ:int}/report", report, Permission.READ_REPORT),
        Door("/organ/{organ:int}/report/keep", keep_report, Permission.READ_REPORT),
    ),
    place="/organ/{organ}/report",
    rank=5,
    is_for_people=True,
)
