"""Faults: reports, what they belong to, doubles, fixes, and faults that came back."""

from __future__ import annotations

import uuid
from collections import defaultdict
from functools import partial
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ConfigDict, Field
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from walkboard.book.records import FaultKind, KeptFault, KeptOrgan
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Keeper, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.frame.setting import Setting
from walkboard.desk.pages.fault_forms import (
    GROUPS,
    LONGEST_NAME,
    LONGEST_WORDS,
    choices,
    plain,
    word_of,
)
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.desk.text.stops import rank_in_division
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.work import faults as fault_work

_FIXED_SHOWN = 30


class _Fixed(BaseModel):
    model_config = ConfigDict(extra="forbid")
    fault: int
    visit: int | None
    note: str = Field("", max_length=LONGEST_WORDS)


def faults(request: Request) -> Response:
    """The open faults by division, and the last ones that were fixed."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    every = desk.book.faults(kept.id)
    names = {division.id: division.name for division in organ.divisions}
    doubles = _doubles(every)
    groups: dict[str | None, list[dict[str, Any]]] = {None: []} | {d: [] for d in names}
    for fault in every:
        if fault.stands:
            row = _row(request, organ, fault) | {"times": 1 + len(doubles[fault.id])}
            groups[fault_work.division_of(organ, fault)].append(row)
    fixed = sorted((f for f in every if f.mended_at is not None), key=lambda f: (f.mended_at, f.id))
    return render(
        request,
        "faults.html",
        organ_name=organ.name,
        groups=[(names.get(d or "", ""), rows) for d, rows in groups.items() if rows],
        standing=sum(map(len, groups.values())),
        fixed=[_row(request, organ, fault) for fault in fixed[: -_FIXED_SHOWN - 1 : -1]],
    )


def fault(request: Request) -> Response:
    """One fault with its history and what can be done."""
    desk = desk_of(request)
    kept, organ, found = _fault(request)
    every = desk.book.faults(kept.id)
    visit = next((v for v in desk.book.visits(kept.id) if v.is_open), None)
    at = None
    if found.mended_in_visit is not None:
        at = desk.book.visit(found.mended_in_visit)
    return render(
        request,
        "faults/one.html",
        fault=found,
        row=_row(request, organ, found),
        doubles=[_row(request, organ, f) for f in every if f.id in _doubles(every)[found.id]],
        before=next((f for f in every if f.id == found.again_of), None),
        after=next((f for f in every if f.again_of == found.id), None),
        others=[_row(request, organ, f) for f in every if f.stands and f.id != found.id],
        ranks=[(d.name, [r for r in organ.ranks if r.division == d.id]) for d in organ.divisions],
        rank_words=partial(rank_in_division, organ),
        choices=choices(organ),
        name_key=preferences_of(request).key,
        open_visit=visit,
        fixed_at_visit=at,
        recorded=desk.book.recorded_of_fault(found.id),
        longest_words=LONGEST_WORDS,
    )


def new(request: Request) -> Response:
    """The form for the tuner's own report."""
    desk = desk_of(request)
    _, organ = desk.organ(request)
    return render(
        request,
        "faults/new.html",
        choices=choices(organ),
        name_key=preferences_of(request).key,
        longest_words=LONGEST_WORDS,
        longest_name=LONGEST_NAME,
        uid=f"desk-{uuid.uuid4().hex}",
    )


def meanings(request: Request) -> Response:
    """The vocabulary of the trade."""
    desk = desk_of(request)
    desk.organ(request)
    groups = [(group, [(kind, word_of(kind)) for kind in kinds]) for group, kinds in GROUPS]
    return render(request, "faults/words.html", groups=groups)


async def keep(request: Request) -> Response:
    """Store the tuner's report."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_keep, request, given)


async def place(request: Request) -> Response:
    """Link a fault."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_place, request, given)


async def merge(request: Request) -> Response:
    """Merge two reports of one fault."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_merge, request, given)


async def mark_fixed(request: Request) -> Response:
    """Mark a fault as fixed."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_mark_fixed, request, given)


async def reopen(request: Request) -> Response:
    """Reopen a fault that came back, or was not a double."""
    given = await request.form(max_files=0, max_fields=20)
    return await run_in_threadpool(_reopen, request, given)


def keep_fixed(desk: Desk, setting: Setting, _: str) -> None:
    """Store a fix that a device reported, perhaps while it was offline."""
    body = _Fixed.model_validate(setting.body)
    fault_work.mark_fixed_once(desk.book, body.fault, body.visit, plain(body.note, LONGEST_WORDS))


def _keep(request: Request, given: FormData) -> Response:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    kept_fault = fault_work.report(
        desk.book,
        kept,
        organ,
        plain(given.get("kind", ""), 40) or FaultKind.OTHER,
        plain(given.get("words", ""), LONGEST_WORDS),
        stop=plain(given.get("stop", ""), 200) or None,
        key=plain(given.get("key", ""), 10) or None,
        uid=plain(given.get("uid", ""), 64) or None,
        reporter=plain(given.get("name", ""), LONGEST_NAME) or desk.device_name(request),
    )
    return RedirectResponse(f"/organ/{kept.id}/faults/{kept_fault.id}", 303)


def _place(request: Request, given: FormData) -> Response:
    _, organ, found = _fault(request)
    rank, number = plain(given.get("rank", ""), 200), plain(given.get("number", ""), 4)
    if bool(rank) != bool(number):
        raise InputError("A pipe is a rank and a number.", fix="Give both, or neither.")
    fault_work.link(
        desk_of(request).book,
        organ,
        found.id,
        stop=plain(given.get("stop", ""), 200) or None,
        key=plain(given.get("key", ""), 10) or None,
        pipe=PipeRef.parse(f"{rank}:{number}") if rank else None,
    )
    return _to(request, found.id)


def _merge(request: Request, given: FormData) -> Response:
    _, _, found = _fault(request)
    into = _number(given.get("into"))
    desk_of(request).book.merge_fault(found.id, into)
    return _to(request, into)


def _mark_fixed(request: Request, given: FormData) -> Response:
    _, _, found = _fault(request)
    visit = given.get("visit") or None
    fault_work.mark_fixed_once(
        desk_of(request).book,
        found.id,
        None if visit is None else _number(visit),
        plain(given.get("note", ""), LONGEST_WORDS),
    )
    return _to(request, found.id)


def _reopen(request: Request, given: FormData) -> Response:
    _, _, found = _fault(request)
    desk = desk_of(request)
    again = desk.book.reopen_fault(
        found.id,
        plain(given.get("words", ""), LONGEST_WORDS),
        reporter=desk.device_name(request),
    )
    return _to(request, again.id)


def _fault(request: Request) -> tuple[KeptOrgan, Organ, KeptFault]:
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    number = int(request.path_params["fault"])
    found = next((f for f in desk.book.faults(kept.id) if f.id == number), None)
    if found is None:
        raise HTTPException(404)
    return kept, organ, found


def _row(request: Request, organ: Organ, found: KeptFault) -> dict[str, Any]:
    word = word_of(found.kind)
    return {
        "fault": found,
        "name": say(f"faults.name_{word}"),
        "short": say(f"faults.short_{word}"),
        "where": fault_work.place_words(organ, found, preferences_of(request).key),
    }


def _doubles(every: tuple[KeptFault, ...]) -> dict[int, list[int]]:
    """For each fault, every report merged into it, directly or not."""
    into = {fault.id: fault.double_of for fault in every}
    found: dict[int, list[int]] = defaultdict(list)
    for fault in every:
        other = fault.double_of
        while other is not None:
            found[other].append(fault.id)
            other = into[other]
    return found


def _to(request: Request, number: int) -> Response:
    return RedirectResponse(f"/organ/{request.path_params['organ']}/faults/{number}", 303)


def _number(value: object) -> int:
    if not isinstance(value, str) or not value.isdecimal() or len(value) > 12:
        raise InputError("Nothing was chosen.", fix="Choose from the list.")
    return int(value)


_ONE = "/organ/{organ:int}/faults/{fault:int}"
PAGE = Page(
    "faults",
    (
        Door("/organ/{organ:int}/faults", faults, Permission.READ_FAULTS),
        Door("/organ/{organ:int}/faults/new", new, Permission.REPORT_FAULT),
        Door("/organ/{organ:int}/faults/new", keep, Permission.REPORT_FAULT, ("POST",)),
        Door("/organ/{organ:int}/faults/words", meanings, Permission.READ_FAULTS),
        Door(_ONE, fault, Permission.READ_FAULTS),
        Door(f"{_ONE}/place", place, Permission.HANDLE_FAULTS, ("POST",)),
        Door(f"{_ONE}/merge", merge, Permission.HANDLE_FAULTS, ("POST",)),
        Door(f"{_ONE}/mend", mark_fixed, Permission.HANDLE_FAULTS, ("POST",)),
        Door(f"{_ONE}/reopen", reopen, Permission.HANDLE_FAULTS, ("POST",)),
    ),
    place="/organ/{organ}/faults",
    rank=60,
    settings=MappingProxyType({"mending": Keeper(keep_fixed, Permission.HANDLE_FAULTS)}),
    count=lambda desk, organ_id: len(desk.book.open_faults(organ_id)),
)
