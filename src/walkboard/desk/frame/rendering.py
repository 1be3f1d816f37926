"""Templates: everything escaped, with the catalogue's texts and formatted numbers."""

from __future__ import annotations

from functools import partial
from typing import Any
from urllib.parse import urlsplit

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.requests import Request
from starlette.responses import HTMLResponse
from starlette.routing import compile_path

from walkboard.desk.frame.access import Visitor
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.text.catalogue import say, script_words
from walkboard.desk.text.figures import (
    MISSING,
    celsius,
    clock,
    date_words,
    day,
    decimal,
    hertz,
    in_a_field,
    minutes,
    month,
    signed,
)
from walkboard.desk.text.preferences import Look, preferences_of
from walkboard.languages.spoken import LANGUAGES, language
from walkboard.languages.translation import translate
from walkboard.scales.key_names import Names
from walkboard.work.faults import translatable

ON_ITS_WAY = "on its way"  # in place of the book's number: the page then fetches its parts at once


class Renderer:
    """Draws pages.

    Parameters
    ----------
    pages : tuple of Page
    """

    def __init__(self, pages: tuple[Page, ...]) -> None:
        self._environment = Environment(
            loader=PackageLoader("walkboard.desk", "templates"),
            autoescape=True,
            undefined=StrictUndefined,
            trim_blocks=True,
            lstrip_blocks=True,
        )
        self._environment.globals.update(say=say, MISSING=MISSING)
        self._environment.filters.update(
            signed=signed,
            decimal=decimal,
            in_a_field=in_a_field,
            celsius=celsius,
            hertz=hertz,
            minutes=minutes,
            month=month,
            day=day,
            clock=clock,
            date_words=date_words,
            translate=translate,
            fault_words=lambda words: translate(translatable(words)),
        )
        places = [page for page in pages if page.place is not None]
        self._places = sorted(places, key=lambda page: page.rank)
        self._readable = [
            (compile_path(door.path)[0], door.permission)
            for page in pages
            for door in page.doors
            if "GET" in door.methods
        ]

    def render(self, desk: Desk, request: Request, template: str, values: dict[str, Any]) -> str:
        """A page's HTML.

        Every template has, beside its own values: ``say`` (the catalogue), ``key`` (the name of a
        key as this browser chose), ``organ_id`` (or None), ``visitor``, ``may`` (takes the name of
        a `Permission`, on the page's organ), ``leads`` (takes an address: whether the visitor may
        open it), ``preferences``, ``places`` (the navigation) and
        ``change`` (of the book).
        """
        visitor: Visitor = request.state.visitor
        page = template.partition("/")[0].removesuffix(".html")
        organ_id = request.path_params.get("organ")
        if organ_id is None:
            organs = desk.organs_of(visitor)
            organ_id = organs[0].id if len(organs) == 1 else None
        frame = {
            **_frame(request, page),
            "organ_id": organ_id,
            "leads": partial(self._leads, visitor),
            "places": self._navigation(desk, request, organ_id, visitor),
            "change": f"{desk.hub.run}.{desk.book.change()}",
        }
        return self._environment.get_template(template).render({**frame, **values})

    def _leads(self, visitor: Visitor, address: str) -> bool:
        """Whether a link leads a visitor somewhere, by the permission of its door."""
        path = urlsplit(address).path
        for pattern, permission in self._readable:
            found = pattern.match(path)
            if found is not None:
                organ_id = found.groupdict().get("organ")
                return visitor.may(permission, None if organ_id is None else int(organ_id))
        return visitor.may(Permission.ENTER)

    def opening(self, request: Request, organ_id: int, name: str) -> str:
        """An organ's page while the desk is still opening: its frame; the rest follows.

        Parameters
        ----------
        request : Request
        organ_id : int
        name : str
            Name of the organ.
        """
        frame = {
            **_frame(request, "organ"),
            "organ_id": organ_id,
            "places": (),
            "change": ON_ITS_WAY,
            "is_opening": True,
        }
        return self._environment.get_template("opening.html").render(frame, name=name)

    def _navigation(
        self, desk: Desk, request: Request, organ_id: int | None, visitor: Visitor
    ) -> list[dict[str, Any]]:
        found = []
        if not visitor.is_known:
            return []
        is_known = any(kept.id == organ_id for kept in desk.book.organs())
        for page in self._places:
            assert page.place is not None
            of_organ = "{organ}" in page.place
            if (of_organ and organ_id is None) or (page.is_for_people and not visitor.person):
                continue
            if not visitor.may(page.place_permission, organ_id if of_organ else None):
                continue
            address = page.place.format(organ=organ_id)
            here = request.url.path
            count = 0
            if page.count is not None and organ_id is not None and is_known:
                count = page.count(desk, organ_id)
            found.append(
                {
                    "address": address,
                    "words": say(f"{page.name}.place"),
                    "count": count,
                    "count_words": say(f"{page.name}.place_count", n=count) if count else "",
                    "is_here": here == address,
                    "is_within": here.startswith(f"{address}/") and page.rank > 0,
                }
            )
        return found


def render(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """A page from a template in ``templates``, with `values`."""
    renderer: Renderer = request.app.state.renderer
    return HTMLResponse(renderer.render(desk_of(request), request, template, values), status)


def _frame(request: Request, page: str) -> dict[str, Any]:
    """Values of every page that need no book."""
    preferences = preferences_of(request)
    visitor: Visitor = request.state.visitor
    return {
        "language": language(),
        "languages": list(LANGUAGES),
        "page": page,
        "is_opening": False,
        "preferences": preferences,
        "looks": list(Look),
        "name_styles": list(Names),
        "key": preferences.key,
        "visitor": visitor,
        "is_desk": visitor.is_at_desk,
        "is_paired": visitor.is_known,
        "may": partial(_may, visitor, request.path_params.get("organ")),
        "path": request.url.path,
        "back": _back(request),
        "script_words": script_words(page),
    }


def _may(visitor: Visitor, organ_id: int | None, permission: str) -> bool:
    """Whether the visitor is permitted something on the page's organ, for templates."""
    return visitor.may(Permission[permission], organ_id)


def _back(request: Request) -> str:
    query = request.url.query
    return f"{request.url.path}?{query}" if query else request.url.path
