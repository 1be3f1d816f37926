"""The people of the book: who may do what on which organ; seen by the owner and at the desk."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.people.people import LONGEST_PERSON_NAME
from walkboard.book.people.records import Person, PersonRole
from walkboard.desk.frame.access import visitor_of
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.fault_forms import plain
from walkboard.desk.pages.sharing import drawn_code
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError
from walkboard.work.open_book import now
from walkboard.work.people import roster
from walkboard.work.people.roster import Invitation

ALL = "all"


def people(request: Request) -> Response:
    """The page."""
    return _draw(request)


async def add(request: Request) -> Response:
    """Add a person, or a role to one who is there."""
    form = await request.form(max_files=0, max_fields=6)
    return await run_in_threadpool(_add, request, form)


def _add(request: Request, form: FormData) -> Response:
    role = roster.role_named(plain(form.get("role", ""), 40))
    organ = _organ(form)
    roster.add(desk_of(request).book, plain(form.get("name", ""), 200), role, organ)
    return _back()


def invite(request: Request) -> Response:
    """A link for one person, shown once."""
    invitation = roster.invite(desk_of(request).book, _person(request), now())
    return _draw(request, invitation)


async def end_role(request: Request) -> Response:
    """Take a role away."""
    form = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_end_role, request, form)


def _end_role(request: Request, form: FormData) -> Response:
    person = _another(request)
    roster.end_role(desk_of(request).book, person, _organ(form))
    return _back()


def remove(request: Request) -> Response:
    """Let a person in no more."""
    roster.remove(desk_of(request).book, _another(request))
    return _back()


def _person(request: Request) -> Person:
    number = int(request.path_params["person"])
    found = next((one for one in desk_of(request).book.people() if one.id == number), None)
    if found is None:
        raise HTTPException(404)
    return found


def _another(request: Request) -> Person:
    """A person, but not who asks: nobody locks himself out by a slip."""
    person, asking = _person(request), visitor_of(request).person
    if asking is not None and asking.id == person.id:
        raise InputError(say("people.oneself"), fix=say("people.oneself_fix"))
    return person


def _organ(form: FormData) -> int | None:
    text = plain(form.get("organ", ""), 12)
    if text == ALL:
        return None
    if not text.isdecimal():
        raise InputError("Nothing was chosen.", fix="Choose from the list.")
    return int(text)


def _draw(request: Request, invitation: Invitation | None = None) -> Response:
    desk = desk_of(request)
    names = {organ.id: organ.name for organ in desk.book.organs()}
    link = ""
    if invitation is not None and desk.signing_in is not None:
        link = f"{desk.signing_in.origin}{invitation.path}"
    return render(
        request,
        "people.html",
        rows=[_row(person, names) for person in desk.book.people() if person.memberships],
        roles=[role.name.lower() for role in PersonRole],
        organs=sorted(names.items(), key=lambda pair: pair[1]),
        signs_in=desk.signing_in is not None,
        invitation=invitation,
        link=link,
        drawing=drawn_code(link) if link else None,
        longest_name=LONGEST_PERSON_NAME,
    )


def _row(person: Person, names: dict[int, str]) -> dict[str, Any]:
    return {
        "person": person,
        "roles": [
            {
                "role": one.role.name.lower(),
                "organ": ALL if one.organ_id is None else one.organ_id,
                "name": "" if one.organ_id is None else names[one.organ_id],
            }
            for one in person.memberships
        ],
    }


def _back() -> Response:
    return RedirectResponse("/people", 303)


_MANAGE = Permission.MANAGE_PEOPLE
PAGE = Page(
    "people",
    (
        Door("/people", people, _MANAGE),
        Door("/people/add", add, _MANAGE, ("POST",)),
        Door("/people/{person:int}/invite", invite, _MANAGE, ("POST",)),
        Door("/people/{person:int}/role/end", end_role, _MANAGE, ("POST",)),
        Door("/people/{person:int}/remove", remove, _MANAGE, ("POST",)),
    ),
    place="/people",
    rank=910,
    is_for_people=True,
)
