"""Sharing, seen only at the desk itself: the code that lets a phone in, and the devices let in."""

from __future__ import annotations

import math

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.desk import desk_of
from walkboard.desk.page import Access, Door, Page
from walkboard.desk.pairing import CODE_SECONDS, Code


def sharing(request: Request) -> Response:
    """Whether the desk is shared, and with whom."""
    return _draw(request, None)


def show_code(request: Request) -> Response:
    """A new code, drawn and in letters."""
    desk = desk_of(request)
    if desk.shared_address is None:
        raise HTTPException(409)
    return _draw(request, desk.pairing.show())


async def revoke(request: Request) -> Response:
    """Let a device in no more, and end what it has open."""
    desk = desk_of(request)
    device = str((await request.form()).get("device", ""))
    if not desk.pairing.devices.revoke(device):
        raise HTTPException(404)
    await desk.hub.drop(device)
    return RedirectResponse("/sharing", 303)


def drawn_code(address: str) -> Markup:
    """A QR code (ISO/IEC 18004) as inline SVG, dark on light in every look.

    Parameters
    ----------
    address : str
    """
    import segno  # noqa: PLC0415 - only who shares needs it

    code = segno.make(address, error="m", micro=False)
    drawing = code.svg_inline(scale=7, border=4, dark="#000", light="#fff", omitsize=True)
    return Markup(drawing)  # noqa: S704 - made of numbers alone by the library


def _draw(request: Request, code: Code | None) -> Response:
    desk = desk_of(request)
    port = (request.scope.get("server") or ("", 80))[1]
    address = f"http://{desk.shared_address}:{port}/pair"
    return desk.render(
        request,
        "sharing.html",
        shared=desk.shared_address is not None,
        address=address,
        folder=desk.book.path,
        code=code,
        letters="" if code is None else f"{code.letters[:4]} {code.letters[4:]}",
        drawing=None if code is None else drawn_code(f"{address}#{code.letters}"),
        seconds=math.ceil(CODE_SECONDS),
        devices=desk.pairing.devices.all(),
    )


PAGE = Page(
    "sharing",
    (
        Door("/sharing", sharing, access=Access.DESK),
        Door("/sharing/code", show_code, ("POST",), Access.DESK),
        Door("/sharing/revoke", revoke, ("POST",), Access.DESK),
    ),
    place="/sharing",
    rank=900,
    access=Access.DESK,
)
