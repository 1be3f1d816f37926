"""Sharing, seen only at the desk itself: the code that lets a phone in, and the devices let in."""

from __future__ import annotations

import math
from hashlib import sha256

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.pairing import CODE_SECONDS, LONGEST_NAME, Code
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError

AUTHORITY = "/authority.crt"


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


async def rename(request: Request) -> Response:
    """Give a device another name."""
    desk = desk_of(request)
    form = await request.form()
    device = str(form.get("device", ""))
    if all(known.id != device for known in desk.pairing.devices.all()):
        raise HTTPException(404)
    name = " ".join(str(form.get("name", "")).split())
    if not name:
        raise InputError(say("sharing.no_name"), fix=say("sharing.no_name_fix"))
    desk.pairing.devices.rename(device, name)
    return RedirectResponse("/sharing", 303)


def authority(request: Request) -> Response:
    """The certificate of the authority, as phones install it; 404 where there is none."""
    der = desk_of(request).authority
    if not der:
        raise HTTPException(404)
    return Response(
        der,
        media_type="application/x-x509-ca-cert",
        headers={"Content-Disposition": 'attachment; filename="walkboard-authority.crt"'},
    )


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
    address = f"{desk.address_for_phones(request)}/pair"
    return render(
        request,
        "sharing.html",
        shared=desk.shared_address is not None,
        address=address,
        fingerprint=desk.fingerprint,
        authority=sha256(desk.authority).digest().hex(":").upper() if desk.authority else "",
        authority_address=f"{desk.address_for_phones(request)}{AUTHORITY}",
        authority_drawing=drawn_code(f"{desk.address_for_phones(request)}{AUTHORITY}"),
        code=code,
        letters="" if code is None else f"{code.letters[:4]} {code.letters[4:]}",
        drawing=None if code is None else drawn_code(f"{address}#{code.letters}"),
        seconds=math.ceil(CODE_SECONDS),
        devices=desk.pairing.devices.all(),
        longest_name=LONGEST_NAME,
    )


PAGE = Page(
    "sharing",
    (
        Door("/sharing", sharing, Permission.MANAGE_DEVICES),
        Door(AUTHORITY, authority, Permission.OPEN),
        Door("/sharing/code", show_code, Permission.MANAGE_DEVICES, ("POST",)),
        Door("/sharing/rename", rename, Permission.MANAGE_DEVICES, ("POST",)),
        Door("/sharing/revoke", revoke, Permission.MANAGE_DEVICES, ("POST",)),
    ),
    place="/sharing",
    rank=900,
)
