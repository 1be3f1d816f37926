"""The first page: straight to the organ, or the choice among several."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say


def start(request: Request) -> Response:
    """To the only organ of the book, or a list of those that it has."""
    desk = desk_of(request)
    organs = desk.book.organs()
    if len(organs) == 1:
        return RedirectResponse(f"/organ/{organs[0].id}", 303)
    return choose(request)


def choose(request: Request) -> Response:
    """The organs of the book, and a way to add one."""
    desk = desk_of(request)
    rows = [{"organ": organ, "visits": desk.book.visits(organ.id)} for organ in desk.book.organs()]
    return render(request, "start.html", rows=rows, folder=desk.book.path.name)


def try_out(request: Request) -> Response:
    """Add an invented organ with a visit to try things on."""
    from walkboard.demo.trial import add_trial_organ  # noqa: PLC0415 - seldom wanted, slow to load

    desk = desk_of(request)
    kept = add_trial_organ(desk.book, say("start.trial_visit"))
    return RedirectResponse(f"/organ/{kept.id}", 303)


PAGE = Page(
    "start",
    (Door("/", start), Door("/organs", choose), Door("/organs/try", try_out, ("POST",))),
)
