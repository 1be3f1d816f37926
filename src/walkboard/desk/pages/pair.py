"""Where a phone is paired: open to anyone who has the code that the desk shows."""

from __future__ import annotations

from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.pairing import COOKIE, COOKIE_SECONDS
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say

_LARGEST_BYTES = 4096


def pair(request: Request) -> Response:
    """The form for the code; its script fills it from the address."""
    return _draw(request, None)


async def redeem(request: Request) -> Response:
    """Take the code and give the device its cookie."""
    desk = desk_of(request)
    form = await request.form()
    name = str(form.get("name", "")).strip() or _usual_name(request)
    paired = desk.pairing.redeem(str(form.get("code", "")), name, _address(request))
    if paired is None:
        return _draw(request, say("pair.wrong"), 403)
    response = RedirectResponse("/", 303)
    response.set_cookie(
        COOKIE,
        paired[1],
        max_age=COOKIE_SECONDS,
        httponly=True,
        samesite="lax",
        secure=request.url.scheme == "https",
    )
    return response


def _address(request: Request) -> str:
    return "" if request.client is None else request.client.host


def _draw(request: Request, trouble: str | None, status: int = 200) -> Response:
    return render(
        request, "pair.html", status=status, trouble=trouble, usual_name=_usual_name(request)
    )


def _usual_name(request: Request) -> str:
    is_phone = "Mobi" in request.headers.get("user-agent", "")
    return say("pair.phone" if is_phone else "pair.computer")


PAGE = Page(
    "pair",
    (
        Door("/pair", pair, Permission.OPEN),
        Door("/pair", redeem, Permission.OPEN, ("POST",), _LARGEST_BYTES),
    ),
)
