"""The first page: straight to the organ, or the choice among several."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.frame.access import Visitor, visitor_of
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say


def start(request: Request) -> Response:
    """To the only organ of the book, or a list of those that it has."""
    desk = desk_of(request)
    visitor = visitor_of(request)
    organs = desk.organs_of(visitor)
    if len(organs) == 1:
        return RedirectResponse(first_place(visitor, organs[0].id), 303)
    return choose(request)


def choose(request: Request) -> Response:
    """The organs of the book, and a way to add one."""
    desk = desk_of(request)
    visitor = visitor_of(request)
    newest = desk.book.newest_visits()
    rows = [
        {
            "organ": organ,
            "place": first_place(visitor, organ.id),
            "visit": newest.get(organ.id),
        }
        for organ in desk.organs_of(visitor)
    ]
    return render(request, "start.html", rows=rows, folder=desk.book.path.name)


def first_place(visitor: Visitor, organ_id: int) -> str:
    """The page of an organ that a visitor begins on."""
    at = f"/organ/{organ_id}"
    if visitor.may(Permission.READ_RECORDS, organ_id):
        return at
    return f"{at}/holding" if visitor.may(Permission.HOLD_KEYS, organ_id) else f"{at}/report"


def try_out(request: Request) -> Response:
    """Add an invented organ with a visit to try things on."""
    from walkboard.demo.trial import add_trial_organ  # noqa: PLC0415 - seldom wanted, slow to load

    desk = desk_of(request)
    kept = add_trial_organ(desk.book, say("start.trial_visit"))
    return RedirectResponse(f"/organ/{kept.id}", 303)


PAGE = Page(
    "start",
    (
        Door("/", start, Permission.ENTER),
        Door("/organs", choose, Permission.ENTER),
        Door("/organs/try", try_out, Permission.ADD_ORGANS, ("POST",)),
    ),
)
