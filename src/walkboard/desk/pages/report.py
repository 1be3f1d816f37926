"""The form for players, opened from the card at the console. It needs no login and shows nothing of
the book. It asks what the player noticed and thanks them. Its use is rate-limited, per address and
in total; a hidden field catches robots that fill in every field.
"""

from __future__ import annotations

import re
import secrets
import threading
from dataclasses import replace
from types import MappingProxyType

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import FaultKind, KeptOrgan
from walkboard.desk.frame import console_cards
from walkboard.desk.frame.allowance import Allowance
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.fault_forms import LONGEST_NAME, LONGEST_WORDS, choices, plain
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.errors import BookError, InputError, WalkboardError
from walkboard.languages.translation import translate
from walkboard.organ.model import Organ
from walkboard.scales.keys import Key
from walkboard.work import faults
from walkboard.work.snapshot import organ_in

EACH, ALL, WINDOW_S = 6, 60, 600.0  # reports in ten minutes: from one address, and in all
_LARGEST_BYTES = 16_384
_UID = re.compile(r"^card-[0-9a-f]{24}$")
_FIELDS = ("kind", "stop", "key", "words", "name")
_MAKING = threading.Lock()


def allowance_of(application: Starlette) -> Allowance:
    """How many reports a desk still takes; one for as long as it is open."""
    with _MAKING:
        if not hasattr(application.state, "reports"):
            application.state.reports = Allowance(each=EACH, all_=ALL, window_s=WINDOW_S)
        found: Allowance = application.state.reports
        return found


def form(request: Request) -> Response:
    """The empty form."""
    _, organ = _organ(request)
    return _draw(request, organ, MappingProxyType({}))


async def take(request: Request) -> Response:
    """Keep a report and go to the thanks."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_take, request, given)


def thanks(request: Request) -> Response:
    """What a player sees when the report is in the book."""
    kept, _ = _organ(request)
    return render(
        request,
        "report/thanks.html",
        organ_name=kept.name,
        again=f"/report/{request.path_params['token']}",
    )


def _take(request: Request, given: FormData) -> Response:
    desk = desk_of(request)
    kept, organ = _organ(request)
    values = {name: str(given.get(name, "")) for name in _FIELDS}
    uid = str(given.get("uid", ""))
    address = "" if request.client is None else request.client.host
    if not allowance_of(request.app).take(address):
        return _draw(request, organ, values, say("report.too_often"), status=429, uid=uid)
    if given.get("website"):  # seen by no person: thanked like everyone, and kept nowhere
        return _thanked(request)
    try:
        report = faults.ConsoleReport(
            kind=plain(given.get("kind", ""), 40) or FaultKind.OTHER,
            words=plain(given.get("words", ""), LONGEST_WORDS),
            stop=plain(given.get("stop", ""), 200),
            key=_key(given.get("key", "")),
            name=plain(given.get("name", ""), LONGEST_NAME),
            uid=uid if _UID.match(uid) else None,
        )
        if report.kind == FaultKind.OTHER and not report.words and not report.stop:
            raise InputError(say("report.nothing"))
        try:
            faults.report_from_console(desk.book, kept, organ, report)
        except BookError:
            # Sent, then gone back to and changed: another report. What is lasting fails again.
            again = replace(report, uid=None)
            faults.report_from_console(desk.book, kept, organ, again)
    except WalkboardError as error:
        return _draw(request, organ, values, translate(str(error)), status=400)
    return _thanked(request)


def _key(value: object) -> str:
    name = plain(value, 10)
    return "" if not name else Key.parse(name).name


def _thanked(request: Request) -> Response:
    return RedirectResponse(f"/report/{request.path_params['token']}/thanks", 303)


def _organ(request: Request) -> tuple[KeptOrgan, Organ]:
    desk = desk_of(request)
    organ_id = console_cards.organ_of(desk.book.path, request.path_params["token"])
    if organ_id is None or all(kept.id != organ_id for kept in desk.book.organs()):
        raise HTTPException(404)
    return organ_in(desk.book, organ_id)


def _draw(
    request: Request,
    organ: Organ,
    given: dict[str, str] | MappingProxyType[str, str],
    trouble: str = "",
    *,
    status: int = 200,
    uid: str = "",
) -> Response:
    return render(
        request,
        "report.html",
        status=status,
        organ_name=organ.name,
        choices=choices(organ),
        name_key=preferences_of(request).key,
        given={name: given.get(name, "") for name in _FIELDS},
        trouble=trouble,
        uid=uid if _UID.match(uid) else f"card-{secrets.token_hex(12)}",
        longest_words=LONGEST_WORDS,
        longest_name=LONGEST_NAME,
    )


PAGE = Page(
    "report",
    (
        Door("/report/{token}", form, Permission.OPEN),
        Door("/report/{token}", take, Permission.OPEN, ("POST",), _LARGEST_BYTES),
        Door("/report/{token}/thanks", thanks, Permission.OPEN),
    ),
)
