"""Signing in by the firm's identity provider: there and back."""

from __future__ import annotations

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response

from walkboard.desk.frame import signing_in
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.pages.sign_in import LARGEST_BYTES, json_of, signing_in_of
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError
from walkboard.work.people.openid import LASTS_S, SignOn
from walkboard.work.people.tokens import hash_of

_COOKIE = "walkboard_openid"
BACK = "/sign-in/openid/back"


def there(request: Request) -> Response:
    """To the provider."""
    begun = _sign_on(request).begin()
    return _with_cookie(request, RedirectResponse(begun.address, 303), begun.sealed)


async def invited(request: Request) -> Response:
    """To the provider with an invitation; the page's script goes there."""
    given = await json_of(request)
    token = given.get("token") if isinstance(given, dict) else None
    if not isinstance(token, str) or desk_of(request).book.invited(hash_of(token)) is None:
        raise InputError("This invitation is over, or was used already.", fix="Ask for a new one.")
    begun = _sign_on(request).begin(token)
    return _with_cookie(request, JSONResponse({"to": begun.address}), begun.sealed)


def back(request: Request) -> Response:
    """From the provider: sign in the person with this account, or the one invited with it."""
    book = desk_of(request).book
    sealed = request.cookies.get(_COOKIE, "")
    account = _sign_on(request).finish(sealed, request.query_params)
    person_id = book.person_of_openid(account.issuer, account.subject)
    if account.invitation:
        invited_id = book.invited(hash_of(account.invitation))
        if invited_id is not None:
            book.link_openid(invited_id, account.issuer, account.subject)
            book.use_invitation(hash_of(account.invitation))
            person_id = invited_id
    if person_id is None:
        raise InputError(say("sign_in.nobody"), fix=say("sign_in.nobody_fix"))
    response = RedirectResponse("/", 303)
    response.delete_cookie(_COOKIE, path=BACK)
    signing_in.begin(request, response, person_id)
    return response


def _with_cookie(request: Request, response: Response, sealed: str) -> Response:
    response.set_cookie(
        _COOKIE,
        sealed,
        max_age=round(LASTS_S),
        path=BACK,
        httponly=True,
        samesite="lax",
        secure=signing_in_of(request).origin.is_encrypted,
    )
    return response


def _sign_on(request: Request) -> SignOn:
    """Redirects to the provider; 404 if there is none."""
    sign_on = signing_in_of(request).sign_on
    if sign_on is None:
        raise HTTPException(404)
    return sign_on


PAGE = Page(
    "openid",
    (
        Door("/sign-in/openid", there, Permission.OPEN),
        Door("/welcome/openid", invited, Permission.OPEN, ("POST",), LARGEST_BYTES),
        Door(BACK, back, Permission.OPEN),
    ),
)
