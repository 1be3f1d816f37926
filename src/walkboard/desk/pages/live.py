"""Live: at the desk, the session's source; on the phone, the tuner's place.

Topic ``listening``: see `walkboard.desk.live.messages`.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel, ConfigDict, Field, ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.capture.source import Source
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.live import start as live_start
from walkboard.desk.live.browser_source import HandedSound
from walkboard.desk.live.session import TOPIC, Ended, LiveRun
from walkboard.desk.pages.measured import setup
from walkboard.desk.pages.visit.frame import AtVisit, surely_at_work, visit_at_work
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.sheets.keyholder import full_stop_words
from walkboard.work.worklist import work_groups

LARGEST_FILE_BYTES = 600 << 20  # an hour and a half of one channel at 48 kHz and 24 bit
LARGEST_BLOCK_BYTES = 1 << 19
_AT = "/organ/{organ:int}/live"


class _Turn(BaseModel):
    model_config = ConfigDict(extra="forbid")
    pipe: str = Field(max_length=200)
    state: str = Field(max_length=20)


def live(request: Request) -> Response:
    """Choose the source, start, see the level, stop."""
    desk = desk_of(request)
    _, organ = desk.organ(request)
    at = visit_at_work(request)
    groups = None if at is None else work_groups(desk.book, at.visit)
    if at is None or not groups:
        return render(request, "live/nothing.html", organ=organ, has_visit=at is not None)
    run = desk.listening.run
    if run is None:
        live_start.take_in_killed(desk.book, at.visit.id)
    found, trouble = ((), "") if run is not None else live_start.devices()
    return render(
        request,
        "live.html",
        organ=at.organ,
        visit=at.visit,
        topics=TOPIC,
        run=run,
        last=desk.listening.last,
        devices=found,
        no_device=trouble,
        stops=[(s.id, full_stop_words(at.organ, s)) for s in live_start.reference_stops(at.organ)],
        measured=setup(TOPIC, f"/organ/{at.kept.id}/live/turn", preferences_of(request)),
        place=f"/organ/{at.kept.id}/live",
    )


def start(request: Request) -> Response:
    """Start a session on a microphone of the machine or of its browser."""
    at = surely_at_work(request)
    asked = request.query_params
    if asked.get("source") == live_start.BROWSER:
        rate = asked.get("rate", "")
        if not rate.isdigit():
            raise InputError(say("live.no_rate"))
        return _start(at, live_start.browser_microphone(int(rate)), live_start.BROWSER)
    source = live_start.microphone(asked.get("device", ""))
    return _start(at, source, live_start.MICROPHONE)


async def start_file(request: Request) -> Response:
    """Start a session on the recording in the body, played as if it were heard now."""
    at = await run_in_threadpool(surely_at_work, request)
    source = await played_body(request)
    return await run_in_threadpool(_start, at, source, live_start.FILE)


async def played_body(request: Request) -> Source:
    """The recording in a request's body, played in real time."""
    name = request.query_params.get("name", "")[:80] or say("live.file_name")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"played{Path(name).suffix.lower()[:6]}"
        with path.open("wb") as stream:
            async for chunk in request.stream():
                stream.write(chunk)
        return await run_in_threadpool(live_start.played, path, name)


def stop(request: Request) -> Response:
    """End the session and store its recording."""
    listening = desk_of(request).listening
    listening.stop()
    return JSONResponse({"file": listening.last.file, "trouble": listening.last.trouble})


async def sound(request: Request) -> Response:
    """Samples of the browser's microphone."""
    run = desk_of(request).listening.run
    first = request.query_params.get("first", "")
    source = None if run is None else run.source
    if not isinstance(source, HandedSound) or not first.isdigit():
        raise InputError(say("live.not_running"))
    source.put(int(first), await request.body())
    return Response(status_code=204)


def reference(request: Request) -> Response:
    """Set the reference stop, or none."""
    at = surely_at_work(request)
    run = _run_of(at)
    stop_id = request.query_params.get("stop", "")
    run.hear_beside(live_start.beside(at, stop_id) if stop_id else None, stop_id)
    return JSONResponse({"stop": stop_id})


async def turn(request: Request) -> Response:
    """The tuner goes to a pipe."""
    try:
        asked = _Turn.model_validate_json(await request.body())
    except ValidationError:
        raise InputError(say("frame.outbox_unreadable")) from None
    return await run_in_threadpool(_turn, request, asked)


def _turn(request: Request, asked: _Turn) -> Response:
    at = surely_at_work(request)
    pipe = PipeRef.parse(asked.pipe)
    at.organ.rank(pipe.rank)
    _run_of(at).turn_to(pipe, is_open=asked.state == "open")
    return JSONResponse({"pipe": str(pipe)})


def _start(at: AtVisit, source: Source, kind: str) -> Response:
    return start_on(at, source, lambda ended: live_start.make_run(at, source, kind, ended))


def start_on(
    at: AtVisit, source: Source, make_run: Callable[[Callable[[Ended], None]], LiveRun]
) -> Response:
    """Start the session that `make_run` makes; the source is closed where it cannot be."""
    try:
        at.desk.listening.start(make_run)
    except BaseException:
        source.close()
        raise
    return JSONResponse({"source": source.name}, 201)


def _run_of(at: AtVisit) -> LiveRun:
    run = at.desk.listening.run
    if run is None or run.visit_id != at.visit.id:
        raise InputError(say("live.not_running"))
    return run


PAGE = Page(
    "live",
    (
        Door(_AT, live, Permission.LISTEN_HERE),
        Door(f"{_AT}/start", start, Permission.LISTEN_HERE, ("POST",)),
        Door(f"{_AT}/play", start_file, Permission.LISTEN_HERE, ("POST",), LARGEST_FILE_BYTES),
        Door(f"{_AT}/stop", stop, Permission.LISTEN_HERE, ("POST",)),
        Door(f"{_AT}/sound", sound, Permission.LISTEN_HERE, ("POST",), LARGEST_BLOCK_BYTES),
        Door(f"{_AT}/reference", reference, Permission.RECORD, ("POST",)),
        Door(f"{_AT}/turn", turn, Permission.RECORD, ("POST",)),
    ),
    place="/organ/{organ}/live",
    rank=35,
)
