"""What a person signs in with: passkeys, the recovery code, and the browsers signed in."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from walkboard.book.people.records import Person
from walkboard.desk.frame.access import SESSION_COOKIE, visitor_of
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.sign_in import LARGEST_BYTES, json_of, left, not_taken, signing_in_of
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError, WalkboardError
from walkboard.work.open_book import now
from walkboard.work.people import recovery, sessions


def account(request: Request) -> Response:
    """The page."""
    return _draw(request)


def options(request: Request) -> Response:
    """What a browser needs to make another passkey."""
    person, desk = _person(request), desk_of(request)
    return JSONResponse(
        {"options": signing_in_of(request).passkeys.options_to_add(desk.book, person)}
    )


async def add(request: Request) -> Response:
    """Keep another passkey."""
    return await run_in_threadpool(_add, request, await json_of(request))


def _add(request: Request, given: object) -> Response:
    person, desk = _person(request), desk_of(request)
    answer = given.get("answer") if isinstance(given, dict) else None
    try:
        signing_in_of(request).passkeys.add(desk.book, person, answer)
    except WalkboardError as error:
        return not_taken(request, error)
    return JSONResponse({"to": "/account"})


def new_code(request: Request) -> Response:
    """Make a new recovery code and show it, once."""
    return _draw(request, code=recovery.new_code(desk_of(request).book, _person(request).id))


async def remove(request: Request) -> Response:
    """Remove a passkey, but not the last thing that lets this person in."""
    form = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_remove, request, str(form.get("passkey", "")))


def _remove(request: Request, number: str) -> Response:
    person, book = _person(request), desk_of(request).book
    if len(book.passkeys(person.id)) <= 1:
        raise InputError(say("account.last_passkey"), fix=say("account.last_passkey_fix"))
    if not number.isdecimal() or not book.remove_passkey(person.id, int(number[:12])):
        raise HTTPException(404)
    return RedirectResponse("/account", 303)


async def end(request: Request) -> Response:
    """End one of the person's sessions."""
    form = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_end, request, str(form.get("session", "")))


def _end(request: Request, number: str) -> Response:
    person, book = _person(request), desk_of(request).book
    mine = sessions.found(book, request.cookies.get(SESSION_COOKIE, ""), now())
    if not number.isdecimal() or not book.end_session(person.id, int(number[:12])):
        raise HTTPException(404)
    if mine is not None and mine.id == int(number[:12]):
        return left()
    return RedirectResponse("/account", 303)


def _person(request: Request) -> Person:
    """Who has signed in; 404 where nobody does, as at the desk itself."""
    person = visitor_of(request).person
    if person is None:
        raise HTTPException(404)
    return person


def _draw(request: Request, code: str = "") -> Response:
    person, book = _person(request), desk_of(request).book
    mine = sessions.found(book, request.cookies.get(SESSION_COOKIE, ""), now())
    names = {organ.id: organ.name for organ in book.organs()}
    return render(
        request,
        "account.html",
        person=person,
        roles=[
            (one.role.name.lower(), "" if one.organ_id is None else names[one.organ_id])
            for one in person.memberships
        ],
        passkeys=book.passkeys(person.id),
        has_code=book.has_recovery(person.id),
        code=code,
        is_lost="lost" in request.query_params,
        sessions=[one for one in book.sessions(person.id) if one.ends_at > now()],
        mine=None if mine is None else mine.id,
    )


_ENTER = Permission.ENTER
PAGE = Page(
    "account",
    (
        Door("/account", account, _ENTER),
        Door("/account/options", options, _ENTER, ("POST",), LARGEST_BYTES),
        Door("/account/passkey", add, _ENTER, ("POST",), LARGEST_BYTES),
        Door("/account/passkey/remove", remove, _ENTER, ("POST",), LARGEST_BYTES),
        Door("/account/code", new_code, _ENTER, ("POST",), LARGEST_BYTES),
        Door("/account/session/end", end, _ENTER, ("POST",), LARGEST_BYTES),
    ),
    place="/account",
    rank=920,
    is_for_people=True,
)
