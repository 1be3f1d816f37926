"""At the pipe: one pipe of the worklist at a time, on a phone, in the dark, with one thumb.

The page holds the whole worklist, so that it works on without a link; what is set goes through the
outbox. The tuner's place is sent on the topic ``at.VISIT`` as ``{"pipe": "great.open8:7"}``, so
that the key holder's page follows; the page sends it again when its link comes back.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.book.records import FaultKind, KeptVisit
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Keeper, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.frame.setting import OfVisit, Setting
from walkboard.desk.live.session import TOPIC
from walkboard.desk.live.start import take_in_killed
from walkboard.desk.pages.measured import setup
from walkboard.desk.pages.visit.frame import AtVisit, differ_words, surely_at_work, visit_at_work
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import clock, hertz
from walkboard.desk.text.preferences import Look, Preferences, preferences_of
from walkboard.errors import InputError, UnknownNameError
from walkboard.languages.translation import translate
from walkboard.organ.model import Organ, PipeRef
from walkboard.sheets.keyholder import stop_words
from walkboard.work import faults
from walkboard.work.snapshot import organ_at, organ_in
from walkboard.work.worklist import WorkGroup, WorkStep, work_groups

# The words a tuner reaches for inside the organ; the rest of the vocabulary is on the desk.
_KINDS = (
    FaultKind.DEAD_NOTE,
    FaultKind.SLOW_SPEECH,
    FaultKind.OFF_SPEECH,
    FaultKind.OVERBLOWN,
    FaultKind.DIRTY_TONGUE,
    FaultKind.BENT_PIPE,
    FaultKind.RATTLE,
    FaultKind.OTHER,
)


class _Place(BaseModel):
    model_config = ConfigDict(extra="forbid")
    pipe: str = Field(max_length=200)


class _FaultBody(OfVisit):
    pipe: str = Field(max_length=200)
    kind: FaultKind
    words: str = Field("", max_length=2000)


class _FaultBack(OfVisit):
    fault: str = Field(max_length=64)


def at_the_pipe(request: Request) -> Response:
    """The worklist, a pipe at a time; dark unless this browser chose otherwise."""
    desk = desk_of(request)
    _, organ = desk.organ(request)
    at = visit_at_work(request)
    if at is not None and desk.listening.run is None:
        take_in_killed(desk.book, at.visit.id)
    chosen = preferences_of(request)
    shown = replace(chosen, look=Look.DARK) if chosen.look is Look.AUTO else chosen
    groups = None if at is None else work_groups(desk.book, at.visit)
    if at is None or not groups:
        state = "no_visit" if at is None else "no_plan" if groups is None else "no_pipe"
        return render(request, "pipe/nothing.html", preferences=shown, organ=organ, state=state)
    return render(
        request,
        "pipe.html",
        preferences=shown,
        organ=at.organ,
        visit=at.visit,
        work=_work(request, at, groups, chosen),
        topics=TOPIC,
        measured=setup(TOPIC, f"/organ/{at.kept.id}/live/turn", chosen),
        kinds=[(kind.value, say(f"pipe.kind_{kind.name.lower()}")) for kind in _KINDS],
    )


async def stand(request: Request) -> Response:
    """The tuner's current place: sent to followers, not stored."""
    try:
        place = _Place.model_validate_json(await request.body())
    except ValidationError:
        raise InputError(say("frame.outbox_unreadable")) from None
    return await run_in_threadpool(_stand, request, place)


def _stand(request: Request, place: _Place) -> Response:
    at = surely_at_work(request)
    pipe = PipeRef.parse(place.pipe)
    at.organ.rank(pipe.rank)
    at.desk.hub.tell(topic_of(at.visit), {"pipe": str(pipe)})
    return JSONResponse({"pipe": str(pipe)})


def topic_of(visit: KeptVisit) -> str:
    """The topic of the tuner's place."""
    return f"at.{visit.id}"


def steps_for_script(
    organ: Organ, groups: tuple[WorkGroup, ...], chosen: Preferences
) -> list[dict[str, Any]]:
    """The worklist as scripts of this page and of the key holder's show it."""
    return [_step(organ, group, step, chosen) for group in groups for step in group.steps]


def _work(
    request: Request, at: AtVisit, groups: tuple[WorkGroup, ...], chosen: Preferences
) -> dict[str, Any]:
    noted: dict[str, list[str]] = {}
    for fault in at.desk.book.open_faults(at.kept.id):
        if fault.pipe is not None:
            noted.setdefault(str(fault.pipe), []).append(fault.kind)
    differing = differ_words(at)
    steps = steps_for_script(at.organ, groups, chosen)
    for step in steps:
        step["faults"] = noted.get(step["pipe"], [])
        step["differ"] = differing.get(step["pipe"], "")
    return {
        "visit": at.visit.id,
        "opened": at.visit.opened_at.isoformat(),
        "place": f"/organ/{at.kept.id}/pipe/at",
        "me": at.desk.device_name(request),
        "steps": steps,
    }


def _step(organ: Organ, group: WorkGroup, step: WorkStep, chosen: Preferences) -> dict[str, Any]:
    held = step.held
    return {
        "pipe": str(step.item.pipe),
        "number": step.item.pipe.number,
        "rank": group.heading,
        "draw": translate(group.draw),
        "key": "" if held is None else chosen.key(held.key),
        "semitone": None if held is None else held.key.semitone,
        "stop": "" if held is None else stop_words(organ, held.stop),
        "division": "" if held is None else held.stop.division,
        "hz": hertz(step.item.target_hz),
        "target_hz": step.item.target_hz,
        "cents": round(step.item.cents, 1),
        "move": translate(step.item.move),
        "hand": translate(step.hand),
        "why": translate(step.item.why),
        "minutes": step.item.minutes,
        "state": step.state.value,
        "tick": "" if step.tick is None else step.tick.uid,
        "by": "" if step.tick is None else step.tick.device,
        "at": "" if step.tick is None else clock(step.tick.at),
    }


def keep_fault(desk: Desk, setting: Setting, device: str) -> None:
    """Keep a fault that was found at a pipe, under the id that the browser gave it."""
    body = _FaultBody.model_validate(setting.body)
    visit = body.found(desk.book)
    organ = organ_at(desk.book, visit)
    pipe = PipeRef.parse(body.pipe)
    if pipe.number > organ.rank(pipe.rank).pipes:
        raise UnknownNameError(f"There is no pipe {pipe}.", fix="Load the page again.")
    kept, _ = organ_in(desk.book, visit.organ_id)
    if faults.is_noted(desk.book, kept.id, body.kind, pipe, but=setting.uid):
        return  # another press, or another device, has noted the same
    words = body.words or faults.FOUND_AT_PIPE
    faults.report(
        desk.book, kept, organ, body.kind, words, pipe=pipe, uid=setting.uid, reporter=device
    )


def take_back_fault(desk: Desk, setting: Setting, _: str) -> None:
    """Take back a fault noted at a pipe; it stays in the book, marked as fixed with a note."""
    body = _FaultBack.model_validate(setting.body)
    visit = body.found(desk.book)
    faults.take_back(desk.book, visit.organ_id, body.fault, visit.id, faults.TAKEN_BACK)


PAGE = Page(
    "pipe",
    (
        Door("/organ/{organ:int}/pipe", at_the_pipe, Permission.TICK),
        Door("/organ/{organ:int}/pipe/at", stand, Permission.TICK, ("POST",)),
    ),
    place="/organ/{organ}/pipe",
    rank=40,
    settings=MappingProxyType(
        {
            "pipe-fault": Keeper(keep_fault, Permission.TICK),
            "pipe-fault-undone": Keeper(take_back_fault, Permission.TICK),
        }
    ),
)
