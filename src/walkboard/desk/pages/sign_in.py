"""Signing in at a desk behind a proxy: by passkey, by the recovery code, or as the firm does."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from walkboard.desk.frame import signing_in
from walkboard.desk.frame.access import SESSION_COOKIE, visitor_of
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.frame.signing_in import SigningIn, address_of
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError, WalkboardError
from walkboard.languages.translation import translate
from walkboard.work.open_book import now
from walkboard.work.people import recovery, sessions

T = TypeVar("T")

LARGEST_BYTES = 65_536


def sign_in(request: Request) -> Response:
    """The page; people already signed in go straight on."""
    if visitor_of(request).is_known:
        return RedirectResponse(place_in(request.query_params.get("to", "/")), 303)
    return _draw(request)


def options(request: Request) -> Response:
    """What a browser needs to ask for a passkey."""
    return JSONResponse(signing_in_of(request).passkeys.options_to_sign_in())


async def by_passkey(request: Request) -> Response:
    """Sign in the owner of the passkey; the page's script takes over from there."""
    return await run_in_threadpool(_by_passkey, request, await json_of(request))


def _by_passkey(request: Request, answer: object) -> Response:
    book, passkeys = desk_of(request).book, signing_in_of(request).passkeys
    person_id = checked(request, lambda: passkeys.whose(book, answer))
    if isinstance(person_id, Response):
        return person_id
    return _in(request, person_id, JSONResponse({"to": "/"}))


async def by_code(request: Request) -> Response:
    """Sign in by the recovery code, to add a passkey."""
    form = await request.form(max_files=0, max_fields=4)
    return await run_in_threadpool(_by_code, request, str(form.get("code", "")))


def _by_code(request: Request, code: str) -> Response:
    desk, signing = desk_of(request), signing_in_of(request)
    address = address_of(request)
    wait_s = signing.patience.wait_s(address)
    if wait_s > 0.0:
        return _draw(request, say("sign_in.too_soon", n=math.ceil(wait_s)), 429, wait_s)
    person_id = recovery.redeem(desk.book, code)
    if person_id is None:
        signing.patience.failed(address)
        return _draw(request, say("sign_in.wrong_code"), 403)
    return _in(request, person_id, RedirectResponse("/account?lost=yes", 303))


async def sign_out(request: Request) -> Response:
    """End this session, and let the browser forget the pages that it kept."""
    return await run_in_threadpool(_sign_out, request)


def _sign_out(request: Request) -> Response:
    desk = desk_of(request)
    person = visitor_of(request).person
    session = sessions.found(desk.book, request.cookies.get(SESSION_COOKIE, ""), now())
    if person is not None and session is not None:
        desk.book.end_session(person.id, session.id)
    return left()


def left() -> Response:
    """The answer to a browser whose session is over."""
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(SESSION_COOKIE, httponly=True, samesite="lax")
    response.headers["Clear-Site-Data"] = '"cache", "storage"'
    return response


def signing_in_of(request: Request) -> SigningIn:
    """How people sign in; 404 at a desk where nobody does."""
    signing = desk_of(request).signing_in
    if signing is None:
        raise HTTPException(404)
    return signing


async def json_of(request: Request) -> object:
    """The JSON that a script sent."""
    try:
        answer: object = await request.json()
    except (ValueError, RecursionError):
        raise InputError(say("frame.outbox_unreadable")) from None
    return answer


def checked(request: Request, check: Callable[[], T]) -> T | Response:
    """What a check finds; a script's answer where its address must wait, or the check refuses."""
    wait_s = signing_in_of(request).patience.wait_s(address_of(request))
    if wait_s > 0.0:
        words = say("sign_in.too_soon", n=math.ceil(wait_s))
        return JSONResponse({"trouble": words}, 429, {"Retry-After": str(math.ceil(wait_s))})
    try:
        return check()
    except InputError as error:
        return not_taken(request, error)


def not_taken(request: Request, error: WalkboardError) -> Response:
    """Count a failure, and say to a script what was wrong."""
    signing_in_of(request).patience.failed(address_of(request))
    words = f"{translate(error.what)} {translate(error.fix)}".strip()
    return JSONResponse({"trouble": words}, 403)


def place_in(text: str) -> str:
    """A path of our own to go on to, or the first page."""
    is_ours = text.startswith("/") and not text.startswith(("//", "/\\")) and text.isprintable()
    return text if is_ours else "/"


def _in(request: Request, person_id: int, response: Response) -> Response:
    signing_in_of(request).patience.succeeded(address_of(request))
    signing_in.begin(request, response, person_id)
    return response


def _draw(request: Request, trouble: str = "", status: int = 200, wait_s: float = 0.0) -> Response:
    signing = desk_of(request).signing_in
    values: dict[str, Any] = {
        "is_here": signing is not None,
        "trouble": trouble,
        "to": place_in(request.query_params.get("to", "/")),
        "provider": "" if signing is None else signing.provider_name,
    }
    response = render(request, "sign_in.html", status=status, **values)
    if wait_s > 0.0:
        response.headers["Retry-After"] = str(math.ceil(wait_s))
    return response


_OPEN = Permission.OPEN
PAGE = Page(
    "sign_in",
    (
        Door("/sign-in", sign_in, _OPEN),
        Door("/sign-in/options", options, _OPEN, ("POST",), LARGEST_BYTES),
        Door("/sign-in/passkey", by_passkey, _OPEN, ("POST",), LARGEST_BYTES),
        Door("/sign-in/code", by_code, _OPEN, ("POST",), LARGEST_BYTES),
        Door("/sign-out", sign_out, Permission.ENTER, ("POST",), LARGEST_BYTES),
    ),
)
