"""The card for the console: a QR code that leads players to the form for faults."""

from __future__ import annotations

from datetime import UTC, datetime

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.desk.frame import console_cards
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.sharing import drawn_code


def card(request: Request) -> Response:
    """The card, and how to print it."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    address = _address(request, kept.id)
    return render(
        request,
        "card.html",
        organ_name=kept.name,
        organ=kept.id,
        form=f"/report/{console_cards.token_of(desk.book.path, kept.id)}",
        shared=desk.shared_address is not None,
        address=address,
        home=address.rpartition("/report/")[0],
        drawing=drawn_code(address),
    )


def card_pdf(request: Request) -> Response:
    """The card as PDF."""
    from walkboard.work.print_sheets import console_card  # noqa: PLC0415 - typesetting loads late

    desk = desk_of(request)
    if desk.shared_address is None:
        raise HTTPException(409)
    kept, _ = desk.organ(request)
    today = datetime.now(UTC).astimezone().date()
    made = console_card(kept.name, _address(request, kept.id), today)
    return Response(
        made,
        media_type="application/pdf",
        headers={"Content-Disposition": 'inline; filename="console-card.pdf"'},
    )


def renew(request: Request) -> Response:
    """Give the form a new address."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    console_cards.renew(desk.book.path, kept.id)
    return RedirectResponse(f"/organ/{kept.id}/card", 303)


def _address(request: Request, organ_id: int) -> str:
    desk = desk_of(request)
    token = console_cards.token_of(desk.book.path, organ_id)
    return f"{desk.address_for_phones(request)}/report/{token}"


PAGE = Page(
    "card",
    (
        Door("/organ/{organ:int}/card", card, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/card.pdf", card_pdf, Permission.READ_RECORDS),
        Door("/organ/{organ:int}/card/renew", renew, Permission.RENEW_CARD, ("POST",)),
    ),
)
