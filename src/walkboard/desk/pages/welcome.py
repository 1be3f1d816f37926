"""Where an invitation leads: the invited adds a passkey, and sees the recovery code once."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.book.people.records import Person
from walkboard.desk.frame import signing_in
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.sign_in import (
    LARGEST_BYTES,
    checked,
    json_of,
    signing_in_of,
)
from walkboard.errors import InputError
from walkboard.work.people import recovery
from walkboard.work.people.tokens import hash_of


def welcome(request: Request) -> Response:
    """The page; its script takes the invitation out of the address."""
    signing = desk_of(request).signing_in
    provider = "" if signing is None else signing.provider_name
    return render(request, "welcome.html", is_here=signing is not None, provider=provider)


async def options(request: Request) -> Response:
    """What a browser needs to make a passkey."""
    return await run_in_threadpool(_options, request, await json_of(request))


def _options(request: Request, given: object) -> Response:
    book, passkeys = desk_of(request).book, signing_in_of(request).passkeys

    def made() -> Response:
        person = _invited(request, given)
        options = passkeys.options_to_add(book, person)
        return JSONResponse({"options": options, "name": person.name})

    return checked(request, made)


async def by_passkey(request: Request) -> Response:
    """Keep the passkey, use the invitation up, sign in, and give the recovery code."""
    return await run_in_threadpool(_by_passkey, request, await json_of(request))


def _by_passkey(request: Request, given: object) -> Response:
    book, passkeys = desk_of(request).book, signing_in_of(request).passkeys

    def added() -> Person:
        person = _invited(request, given)
        answer = given.get("answer") if isinstance(given, dict) else None
        passkeys.add(book, person, answer)
        return person

    person = checked(request, added)
    if isinstance(person, Response):
        return person
    book.use_invitation(hash_of(_token(given)))
    code = recovery.new_code(book, person.id)
    response = JSONResponse({"code": code, "to": "/"})
    signing_in.begin(request, response, person.id)
    return response


def _invited(request: Request, given: object) -> Person:
    """Whom the invitation is for.

    Raises
    ------
    InputError
        If it is not valid, has expired or was used.
    """
    book = desk_of(request).book
    person_id = book.invited(hash_of(_token(given)))
    if person_id is None:
        raise InputError("This invitation is over, or was used already.", fix="Ask for a new one.")
    return book.person(person_id)


def _token(given: object) -> str:
    token = given.get("token") if isinstance(given, dict) else None
    return token if isinstance(token, str) else ""


PAGE = Page(
    "welcome",
    (
        Door("/welcome", welcome, Permission.OPEN),
        Door("/welcome/options", options, Permission.OPEN, ("POST",), LARGEST_BYTES),
        Door("/welcome/passkey", by_passkey, Permission.OPEN, ("POST",), LARGEST_BYTES),
    ),
)
