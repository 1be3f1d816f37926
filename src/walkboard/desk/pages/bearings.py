"""Bearings: the temperament octave of a reference rank, interval by interval, heard live.

Topic ``bearings``: ``{"heard": [{"n": STEP, "by": {"beat", "cents"} | null, "checks": {PLACE:
{"beat", "cents"}}}]}``, of the steps of which something was heard.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from walkboard.capture.source import Source
from walkboard.desk.frame.desk import desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.live import start as live_start
from walkboard.desk.live.bearings import Laying, bearing_stops
from walkboard.desk.live.session import TOPIC, Ended, LiveRun
from walkboard.desk.pages.live import LARGEST_FILE_BYTES, played_body, start_on
from walkboard.desk.pages.measured import setup
from walkboard.desk.pages.visit.frame import AtVisit, surely_at_work, visit_at_work
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import decimal
from walkboard.desk.text.preferences import Preferences, preferences_of
from walkboard.scales.bearings import Interval
from walkboard.sheets.keyholder import full_stop_words, stop_words
from walkboard.work.live.values import Shown
from walkboard.work.pipe_offsets import latest_air

BEARINGS_TOPIC = "bearings"
_AT = "/organ/{organ:int}/bearings"
_STILL_HZ = 0.05


def bearings(request: Request) -> Response:
    """The steps, with what each beats and should beat; or how to begin."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    at = visit_at_work(request)
    run = desk.listening.run
    laying = None if run is None or at is None or run.visit_id != at.visit.id else run.laying
    if at is None or laying is None:
        found, trouble = ((), "") if run is not None else live_start.devices()
        return render(
            request,
            "bearings/begin.html",
            organ=organ,
            has_visit=at is not None,
            is_busy=run is not None,
            stops=[(s.id, full_stop_words(organ, s)) for s in bearing_stops(organ)],
            devices=found,
            no_device=trouble,
            place=f"/organ/{kept.id}",
        )
    chosen = preferences_of(request)
    return render(
        request,
        "bearings.html",
        organ=organ,
        stop=stop_words(at.organ, laying.stop),
        topics=f"{TOPIC} {BEARINGS_TOPIC}",
        steps=_steps(laying, chosen),
        octave=laying.octave,
        place=f"/organ/{kept.id}",
        measured=setup(TOPIC, "", chosen),
    )


def start(request: Request) -> Response:
    """Lay the bearings with a microphone of the machine."""
    at = surely_at_work(request)
    source = live_start.microphone(request.query_params.get("device", ""))
    return _start(request, at, source, live_start.MICROPHONE)


async def start_file(request: Request) -> Response:
    """Lay them on a recording that is the body, played as if it were heard now."""
    at = await run_in_threadpool(surely_at_work, request)
    source = await played_body(request)
    return await run_in_threadpool(_start, request, at, source, live_start.FILE)


def _start(request: Request, at: AtVisit, source: Source, kind: str) -> Response:
    stop_id = request.query_params.get("stop", "")
    return start_on(at, source, lambda ended: _make(at, source, kind, stop_id, ended))


def _make(
    at: AtVisit, source: Source, kind: str, stop_id: str, ended: Callable[[Ended], None]
) -> LiveRun:
    from walkboard.work.live.flow import TOLERANCE_CENTS  # noqa: PLC0415 - slow to load
    from walkboard.work.live.session import Place, TuningSession  # noqa: PLC0415 - slow to load

    laying = Laying(at.organ, at.organ.stop(stop_id), latest_air(at.visit).celsius)
    hub = at.desk.hub

    def see(shown: Shown) -> None:
        if laying.see(shown):
            hub.tell(BEARINGS_TOPIC, laying.to_json())

    hub.tell(BEARINGS_TOPIC, laying.to_json())
    place = Place(at.desk.book, at.kept, at.organ, at.visit)
    session = TuningSession(place, source, laying.tasks())
    return LiveRun(
        session,
        hub,
        kind,
        tolerance_cents=TOLERANCE_CENTS,
        seen=see,
        passes=lambda _: False,
        laying=laying,
        ended=ended,
    )


def _steps(laying: Laying, chosen: Preferences) -> list[dict[str, Any]]:
    return [
        {
            "pipe": str(laying.pipe(step.key)),
            "key": chosen.key(step.key),
            "closes": step.closes,
            "by": _interval(step.by, chosen),
            "checks": [_interval(check, chosen) for check in step.checks],
        }
        for step in laying.steps
    ]


def _interval(interval: Interval, chosen: Preferences) -> dict[str, str]:
    name = interval.name.replace(" ", "_")
    return {
        "name": say(f"bearings.{name}"),
        "between": f"{chosen.key(interval.lower)}–{chosen.key(interval.upper)}",
        "beats": beats_words(interval.beat_hz),
    }


def beats_words(beat_hz: float) -> str:
    """``0.7 narrow``, ``still``."""
    if abs(beat_hz) < _STILL_HZ:
        return say("bearings.still")
    side = "wide" if beat_hz > 0.0 else "narrow"
    return say(f"bearings.{side}", beats=decimal(abs(beat_hz)))


PAGE = Page(
    "bearings",
    (
        Door(_AT, bearings, Permission.RECORD),
        Door(f"{_AT}/start", start, Permission.LISTEN_HERE, ("POST",)),
        Door(f"{_AT}/play", start_file, Permission.LISTEN_HERE, ("POST",), LARGEST_FILE_BYTES),
    ),
)
