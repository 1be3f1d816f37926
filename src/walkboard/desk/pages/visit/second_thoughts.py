"""Second thoughts about a recording: accept the stop heard, relabel it, or discard it."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import KeptRecording
from walkboard.desk.pages.visit.frame import (
    AtVisit,
    number_in,
    render_step,
    surely_at_work,
    to_visit,
)
from walkboard.desk.text.catalogue import say
from walkboard.errors import InputError
from walkboard.plausible import AIR_CELSIUS
from walkboard.sheets.keyholder import stop_words

_MOST_STOPS = 100


def accept(request: Request) -> Response:
    """Accept the recording as the stops heard in it."""
    from walkboard.work.second_thoughts import relabel, stops_heard  # noqa: PLC0415 - slow to load

    at, recording = _recording(request)
    stops = stops_heard(at.organ, recording.walk)
    if stops is not None:  # pressed twice, the second has nothing left to accept
        relabel(at.desk.book, recording.id, drawn=stops)
    return to_visit(request, "listen")


def confirm(request: Request) -> Response:
    """Say that the stops of a doubted recording were drawn as stated."""
    from walkboard.work.second_thoughts import (  # noqa: PLC0415 - slow to load
        confirm as stands,
    )
    from walkboard.work.second_thoughts import may_be_sure  # noqa: PLC0415

    at, recording = _recording(request)
    if may_be_sure(recording.walk):  # pressed twice, the second has nothing left to confirm
        stands(at.desk.book, recording.id)
    return to_visit(request, "listen")


async def label(request: Request) -> Response:
    """Correct what was drawn, or the air, and analyse the recording again."""
    if request.method == "GET":
        return await run_in_threadpool(_ask_label, request)
    form = await request.form()
    return await run_in_threadpool(_label, request, form)


def _ask_label(request: Request) -> Response:
    at, recording = _recording(request, left_out_too=True)
    return render_step(
        request,
        at,
        "listen",
        "visit/label.html",
        recording=recording,
        stop_words={stop.id: stop_words(at.organ, stop) for stop in at.organ.stops},
    )


def _label(request: Request, form: FormData) -> Response:
    from walkboard.work.second_thoughts import relabel  # noqa: PLC0415 - slow to load

    at, recording = _recording(request, left_out_too=True)
    drawn = tuple(dict.fromkeys(str(stop) for stop in form.getlist("stop")))
    if not drawn or len(drawn) > _MOST_STOPS:
        raise InputError(say("visit.no_stop_what"), fix=say("visit.no_stop_fix"))
    air = number_in(str(form.get("air", "")), say("visit.air"))
    if air is not None and air not in AIR_CELSIUS:
        raise InputError(say("visit.air_what"), fix=say("visit.air_fix"))
    walk = recording.walk
    is_new = drawn != walk.drawn or (air is not None and air != walk.air_celsius)
    if is_new or recording.is_withdrawn:
        version = recording.organ_version
        relabel(at.desk.book, recording.id, drawn=drawn, air_celsius=air, organ_version=version)
    return to_visit(request, "listen")


def withdraw(request: Request) -> Response:
    """Leave a recording out; it stays in the book."""
    from walkboard.work.second_thoughts import withdraw as leave_out  # noqa: PLC0415

    at, recording = _recording(request)
    leave_out(at.desk.book, recording.id)
    return to_visit(request, "listen")


def _recording(request: Request, *, left_out_too: bool = False) -> tuple[AtVisit, KeptRecording]:
    at = surely_at_work(request)
    wanted = int(request.path_params["recording"])
    found = list(at.desk.book.recordings(at.visit.id))
    if left_out_too:
        found += at.desk.book.withdrawn_recordings(at.visit.id)
    for recording in found:
        if recording.id == wanted:
            return at, recording
    raise HTTPException(404)
