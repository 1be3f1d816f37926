"""Listening: imports and analyses recordings, and shows what was heard and what was missed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from walkboard.book.records import FaultKind, KeptFault, KeptRecording
from walkboard.desk.background import upload_queue
from walkboard.desk.background.surveys import survey_of
from walkboard.desk.drawing.visit import key_strip, runs_words
from walkboard.desk.pages.visit.frame import (
    AtVisit,
    number_in,
    render_step,
    surely_at_work,
    to_visit,
    visit_at_work,
)
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.preferences import preferences_of
from walkboard.errors import InputError
from walkboard.languages.spoken import language
from walkboard.plausible import AIR_CELSIUS
from walkboard.scales.keys import Key
from walkboard.sheets.keyholder import stop_words
from walkboard.work import faults
from walkboard.work.heard_keys import Enough, KeyHeard, keys_heard
from walkboard.work.pipe_offsets import latest_air

if TYPE_CHECKING:
    from walkboard.survey.plan.walk_plan import SurveyPlan

LARGEST_RECORDING_BYTES = 2 << 30  # two hours of stereo at 48 kHz and 24 bit
_MOST_STOPS = 100


@dataclass(frozen=True, slots=True)
class Suspect:
    """A fault that a recording suggests; `fault` is the one made from it."""

    kind: FaultKind
    stop: str | None
    key: Key
    uid: str
    fault: KeptFault | None


@dataclass(frozen=True, slots=True)
class Heard:
    """A recording as the page shows it."""

    recording: KeptRecording
    stops: str
    strip: Markup
    named: int
    read: int
    careful: int
    unread: int
    wanting: tuple[KeyHeard, ...]
    suspects: tuple[Suspect, ...]
    instead: str
    may_be_sure: bool


def listening(request: Request) -> Response:
    """Importing recordings, and what was heard in each."""
    at = visit_at_work(request)
    if at is None:
        return to_visit(request)
    upload_queue.start_waiting(at.desk, at.visit)
    survey = survey_of(at.desk, at.kept)
    air = latest_air(at.visit).celsius
    coming = [
        {
            "coming": c,
            "job": upload_queue.job_of(at.desk, c),
            "stops": _stop_words(at, c.drawn),
            "instead": _stop_words(at, c.instead, with_division=False),
        }
        for c in upload_queue.waiting(at.desk.book.path, at.visit.id)
    ]
    return render_step(
        request,
        at,
        "listen",
        "visit/listen.html",
        stop_words={stop.id: stop_words(at.organ, stop) for stop in at.organ.stops},
        walks=_walks(request, at, survey),
        is_survey_coming=survey is None,
        airs=dict(air),
        heard=[_heard(request, at, r) for r in reversed(at.desk.book.recordings(at.visit.id))],
        coming=coming,
        left_out=[
            (recording, _stop_words(at, recording.walk.drawn))
            for recording in at.desk.book.withdrawn_recordings(at.visit.id)
        ],
    )


async def take_in(request: Request) -> Response:
    """Take a recording in: its body is the file, the address says the rest."""
    asked = request.query_params
    at = await run_in_threadpool(surely_at_work, request)
    drawn = tuple(dict.fromkeys(s for s in asked.get("drawn", "").split(",") if s))
    if not drawn or len(drawn) > _MOST_STOPS:
        raise InputError(say("visit.no_stop_what"), fix=say("visit.no_stop_fix"))
    for stop in drawn:
        at.organ.stop(stop)
    air = number_in(asked.get("air", ""), say("visit.air"))
    if air is not None and air not in AIR_CELSIUS:
        raise InputError(say("visit.air_what"), fix=say("visit.air_fix"))
    if air is None:
        air = await run_in_threadpool(_air_of, at, drawn)
    coming = upload_queue.coming_in(
        at.desk.book.path, at.visit.id, asked.get("name", ""), drawn=drawn, air_celsius=air
    )
    await upload_queue.take(coming, request.stream())
    await run_in_threadpool(upload_queue.start_waiting, at.desk, at.visit)
    return JSONResponse({"id": coming.id, "name": coming.name}, 201)


def hear_again(request: Request) -> Response:
    """Try again what could not be heard, or was stopped."""
    at, coming = _coming(request)
    job = upload_queue.job_of(at.desk, coming)
    if job is None or job.is_over:
        upload_queue.hear(at.desk, at.visit, coming)
    return to_visit(request, "listen")


def accept_coming(request: Request) -> Response:
    """Accept a refused recording as the stops heard in it."""
    at, coming = _coming(request)
    upload_queue.accept(at.desk, at.visit, coming)
    return to_visit(request, "listen")


def put_away(request: Request) -> Response:
    """Forget a recording that could not be heard."""
    at, coming = _coming(request)
    job = upload_queue.job_of(at.desk, coming)
    if job is not None and not job.is_over:
        at.desk.jobs.stop(job.id)
    upload_queue.put_away(coming)
    return to_visit(request, "listen")


async def make_fault(request: Request) -> Response:
    """Make a fault of what a recording suggests; pressed twice it is made once."""
    wanted = str((await request.form()).get("suspect", ""))
    return await run_in_threadpool(_make_fault, request, wanted)


def _make_fault(request: Request, wanted: str) -> Response:
    at = surely_at_work(request)
    for recording in at.desk.book.recordings(at.visit.id):
        for suspect in _suspects(at, recording):
            if suspect.uid == wanted:
                words = faults.found_in(recording.walk.file)
                faults.report(
                    at.desk.book,
                    at.kept,
                    at.organ,
                    suspect.kind,
                    words,
                    stop=suspect.stop,
                    key=suspect.key.name,
                    uid=suspect.uid,
                )
                return to_visit(request, "listen")
    raise HTTPException(404)


def _coming(request: Request) -> tuple[AtVisit, upload_queue.Incoming]:
    at = surely_at_work(request)
    wanted = request.path_params["coming"]
    for coming in upload_queue.waiting(at.desk.book.path, at.visit.id):
        if coming.id == wanted:
            return at, coming
    raise HTTPException(404)


def _heard(request: Request, at: AtVisit, recording: KeptRecording) -> Heard:
    from walkboard.work.second_thoughts import may_be_sure, stops_heard  # noqa: PLC0415 - slow to load

    walk = recording.walk
    chosen = preferences_of(request)

    def work_out() -> tuple[tuple[KeyHeard, ...], Markup]:
        keys = keys_heard(at.organ, [walk], walk.drawn)
        return keys, key_strip(keys, say("visit.strip", file=walk.file), chosen.key)

    keys, strip = at.desk.book.memory.get(
        ("strip", recording.hearing_id, chosen.names, language()), work_out
    )
    read = walk.measured
    return Heard(
        recording=recording,
        stops=_stop_words(at, recording.walk.drawn),
        strip=strip,
        named=sum(hold.key is not None for hold in recording.walk.holds),
        read=len(read),
        careful=sum(bool(r.flags) for r in read),
        unread=len(walk.readings) - len(read),
        wanting=tuple(k for k in keys if k.enough is not Enough.YES),
        suspects=_suspects(at, recording),
        instead=_stop_words(at, stops_heard(at.organ, walk) or (), with_division=False),
        may_be_sure=may_be_sure(walk),
    )


def _suspects(at: AtVisit, recording: KeptRecording) -> tuple[Suspect, ...]:
    made = {f.uid: f for f in at.desk.book.faults(at.kept.id) if f.uid}
    found = []
    for kind, stop, key in faults.suspected(at.organ, recording):
        uid = f"heard-{recording.id}-{kind.name.lower()}-{stop or 'key'}-{key.semitone}"
        found.append(Suspect(kind, stop, key, uid, made.get(uid)))
    return tuple(found)


def _walks(request: Request, at: AtVisit, survey: SurveyPlan | None) -> list[dict[str, object]]:
    if survey is None:
        return []
    chosen = preferences_of(request)
    taken = {frozenset(r.walk.drawn) for r in at.desk.book.recordings(at.visit.id)}
    return [
        {
            "number": number,
            "division": at.organ.division(walk.division).name,
            "stops": _stop_words(at, walk.drawn, with_division=False),
            "drawn": ",".join(walk.drawn),
            "runs": runs_words(walk.runs, chosen),
            "is_taken": frozenset(walk.drawn) in taken,
        }
        for number, walk in enumerate(survey.walks, start=1)
    ]


def _stop_words(at: AtVisit, drawn: tuple[str, ...], *, with_division: bool = True) -> str:
    known = {stop.id: stop for stop in at.organ.stops}
    names = [stop_words(at.organ, known[s]) if s in known else s for s in drawn]
    divisions = {known[s].division for s in drawn if s in known}
    words = ", ".join(names)
    if with_division and len(divisions) == 1:
        return f"{at.organ.division(divisions.pop()).name}: {words}"
    return words


def _air_of(at: AtVisit, drawn: tuple[str, ...]) -> float | None:
    from walkboard.work.visit import air_of_stops  # noqa: PLC0415 - slow to load

    return air_of_stops(at.organ, at.visit, drawn)
