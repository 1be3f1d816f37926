"""A rank: cents against key, and everything known about the selected key's pipe."""

from __future__ import annotations

from markupsafe import Markup
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import KeptOrgan, KeptReading, KeptVisit, TickState
from walkboard.desk.drawing.drift import drift_drawing
from walkboard.desk.drawing.rank import NARROW, RankDrawing, bar, rank_drawing
from walkboard.desk.drawing.spectrum import spectrum_drawing
from walkboard.desk.frame.desk import Desk, desk_of
from walkboard.desk.frame.page import Door, Page
from walkboard.desk.frame.permissions import Permission
from walkboard.desk.frame.rendering import render
from walkboard.desk.pages.finding import pipe_index
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.figures import clock, signed
from walkboard.desk.text.preferences import preferences_of
from walkboard.desk.text.stops import rank_in_division
from walkboard.errors import WalkboardError
from walkboard.languages.spoken import language
from walkboard.languages.translation import translate
from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ, PipeRef, Rank
from walkboard.organ.targets import target_hz
from walkboard.quantities import ratio_of_cents
from walkboard.sheets.rank_charts import flag_words
from walkboard.sheets.values import ChartPoint, Mark
from walkboard.sheets.wording import rank_words
from walkboard.work.hold_audio import cut, hold_of, spectrum, wav
from walkboard.work.overview import RankState, chart_context, earlier_readings, rank_state
from walkboard.work.pipe_history import PipeAtVisit, companions, history, neighbours

_VISITS_SHOWN = 12
_INTERVAL_WORDS = {0: "same", 4: "third", 5: "fourth", 7: "fifth", 12: "octave"}


def rank_page(request: Request) -> Response:
    """Draw it."""
    desk = desk_of(request)
    kept, organ = desk.organ(request)
    state = rank_state(desk.book, kept, request.path_params["rank"])
    rank = state.rank
    chosen = _chosen(request, rank)
    address = f"/organ/{kept.id}/rank/{rank.id}"
    charts: tuple[Markup, ...] = ()
    rows, drifts = [], []
    if state.chart is not None:
        earlier = _earlier(desk, kept, organ, state)
        drawing = RankDrawing(
            chart=state.chart,
            earlier=[cents for _, cents in earlier],
            address=lambda semitone: f"{address}?pipe={_number(rank, semitone)}#pipe",
            chosen=None if chosen is None else rank.key_of(chosen).semitone,
            name=preferences_of(request).key,
            axis=say("rank.axis"),
            tuned={
                rank.key_of(number).semitone: tuned.before_cents
                for number, tuned in state.tuned.items()
            },
        )
        charts = (rank_drawing(drawing), rank_drawing(drawing, NARROW))
        rows = _rows(state, earlier[0][1] if earlier else {})
        drifts = _drifts(desk, state, earlier)
    return render(
        request,
        "rank.html",
        organ=organ,
        state=state,
        rank=rank,
        name=rank_words(organ, rank),
        address=address,
        charts=charts,
        rows=rows,
        drifts=drifts,
        found_among=pipe_index(organ, kept.id, preferences_of(request), first=rank.id),
        summary=_summary(state),
        chosen=chosen,
        pipe=None if chosen is None else _pipe(desk, kept, organ, state, chosen),
    )


def sound(request: Request) -> Response:
    """The sound of a hold as WAV."""
    desk = desk_of(request)
    kept, _ = desk.organ(request)
    recording = desk.book.recording(int(request.path_params["recording"]))
    if desk.book.visit(recording.visit_id).organ_id != kept.id:
        raise HTTPException(404)
    hold = hold_of(recording, int(request.path_params["hold"]))
    return Response(
        wav(cut(desk.book, recording, hold)),
        media_type="audio/wav",
        headers={"Cache-Control": "private, max-age=3600"},
    )


def _pipe(
    desk: Desk, kept: KeptOrgan, organ: Organ, state: RankState, number: int
) -> dict[str, object]:
    """What the part of the page on one pipe shows."""
    ref = PipeRef(state.rank.id, number)
    found = history(desk.book, kept, ref)
    last = next(
        (r for v in found for r in reversed(v.readings) if isinstance(r.reading, Measured)), None
    )
    shown: dict[str, object] = {
        "ref": ref,
        "key": state.rank.key_of(number),
        "history": found,
        "from_line": _from_line(desk, organ, state.rank, found),
        "flags": {r.id: translate(flag_words(r.reading)) for v in found for r in v.readings},
        "last": last,
        "spectrum": None,
        "trouble": "",
        "beats": [],
        "line_hz": None,
        "stands": None,
        "two_sigma": 0.0,
    }
    if state.visit is not None and state.chart is not None:
        air = chart_context(desk.book, state.visit).air_of(organ, state.rank.division)
        line = state.chart.lines[0]
        shown["air_celsius"] = air
        shown["line"] = line
        shown["line_hz"] = target_hz(organ, ref, air) * ratio_of_cents(line.cents)
        shown |= _stands(state, number)
        shown["beats"] = [
            {
                "of": beat,
                "interval": say(f"rank.{_INTERVAL_WORDS[abs(beat.semitones)]}"),
                "side": _side(beat.semitones),
                "name": rank_in_division(organ, organ.rank(beat.pipe.rank)),
            }
            for beat in (
                *neighbours(desk.book, kept, state.visit, ref),
                *companions(desk.book, state.visit, ref),
            )
        ]
    if last is not None:
        shown |= _heard(desk, last)
    return shown


def _from_line(
    desk: Desk, organ: Organ, rank: Rank, found: tuple[PipeAtVisit, ...]
) -> dict[int, float | None]:
    """Each reading from the line of its own visit, as in the charts and tables, by its id."""
    cents: dict[int, float | None] = {}
    for at in found:
        if not at.readings:
            continue
        line = chart_context(desk.book, at.visit).lines(organ, rank)[0].cents
        for kept in at.readings:
            value = kept.reading.cents_or_none
            cents[kept.id] = None if value is None else value - line
    return cents


def _stands(state: RankState, number: int) -> dict[str, object]:
    """How far the pipe is from its line: the same figure as in the chart and the table."""
    assert state.chart is not None
    semitone = state.rank.key_of(number).semitone
    for point in state.chart.points:
        if point.semitone == semitone and point.cents is not None:
            return {
                "stands": point.cents - state.chart.lines[0].cents,
                "two_sigma": point.two_sigma_cents,
            }
    return {}


def _heard(desk: Desk, last: KeptReading) -> dict[str, object]:
    """The spectrum of a reading's hold, or why there is no sound."""
    assert isinstance(last.reading, Measured)
    hz = last.reading.hz

    def work_out() -> dict[str, object]:
        try:
            recording = desk.book.recording(last.recording_id)
            found = spectrum(cut(desk.book, recording, hold_of(recording, last.hold)))
        except WalkboardError as error:
            return {"trouble": f"{translate(error.what)} {translate(error.fix)}"}
        drawing = None if found is None else spectrum_drawing(found, hz)
        return {"spectrum": drawing, "trouble": ""}

    return desk.book.memory.get(("spectrum", last.id, language()), work_out)


def _earlier(
    desk: Desk, kept: KeptOrgan, organ: Organ, state: RankState
) -> list[tuple[KeptVisit, dict[int, float]]]:
    """The pipes at earlier visits, each relative to that visit's line, drawn on today's."""
    assert state.visit is not None
    assert state.chart is not None
    line = state.chart.lines[0].cents
    found = []
    for visit, readings in earlier_readings(
        desk.book, kept, state.rank.id, state.visit, _VISITS_SHOWN
    ):
        then = chart_context(desk.book, visit).lines(organ, state.rank)[0].cents
        cents = {
            state.rank.key_of(pipe.number).semitone: r.reading.cents - then + line
            for pipe, r in readings.items()
            if isinstance(r.reading, Measured) and pipe.number <= state.rank.pipes
        }
        found.append((visit, cents))
    return found


def _drifts(
    desk: Desk, state: RankState, earlier: list[tuple[KeptVisit, dict[int, float]]]
) -> list[dict[str, object]]:
    """Every pipe over the visits, from its line then; empty where there was only one visit."""
    assert state.visit is not None
    assert state.chart is not None
    if not earlier:
        return []
    line = state.chart.lines[0].cents
    today = {p.semitone: p.cents for p in state.chart.points if p.cents is not None}
    courses = [(state.visit, today), *earlier][::-1]
    visits = [visit.opened_at for visit, _ in courses]
    done = [
        {p.number for p, tick in desk.book.pipe_states(v.id).items()
         if p.rank == state.rank.id and tick.state == TickState.DONE}
        for v, _ in courses
    ]  # fmt: skip
    found = []
    for number in range(1, state.rank.pipes + 1):
        key = state.rank.key_of(number)
        cents = [of.get(key.semitone) for _, of in courses]
        from_line = [None if value is None else value - line for value in cents]
        tuned = {place for place, numbers in enumerate(done) if number in numbers}
        last = from_line[-1]
        found.append(
            {
                "number": number,
                "key": key,
                "cents": last,
                "is_stray": last is not None and abs(last) > state.chart.stray_cents,
                "drawing": drift_drawing(visits, from_line, tuned, state.chart.stray_cents),
            }
        )
    return found


def _rows(state: RankState, before: dict[int, float]) -> list[dict[str, object]]:
    """A row for every pipe of the rank, whether it was read or not."""
    assert state.chart is not None
    line = state.chart.lines[0].cents
    points = {point.semitone: point for point in state.chart.points}
    rows: list[dict[str, object]] = []
    for number in range(1, state.rank.pipes + 1):
        key = state.rank.key_of(number)
        point = points.get(key.semitone)
        earlier = before.get(key.semitone)
        known = point is not None and point.cents is not None
        rows.append(
            {
                "number": number,
                "key": key,
                "cents": point.cents - line
                if point is not None and point.cents is not None
                else None,
                "two_sigma": point.two_sigma_cents if point is not None else 0.0,
                "before": None if earlier is None else earlier - line,
                "words": _state_words(state, point, number),
                "is_stray": known and point is not None and point.mark in {Mark.FLAT, Mark.SHARP},
                "bar": bar(point, state.chart),
            }
        )
    return rows


def _state_words(state: RankState, point: ChartPoint | None, number: int) -> str:
    tuned = state.tuned.get(number)
    if tuned is not None:
        at, before, after = clock(tuned.at), tuned.before_cents, tuned.after_cents
        if after is None:
            return say("rank.tuned_unheard", at=at, before=signed(before))
        return say("rank.tuned_heard", at=at, before=signed(before), after=signed(after))
    if point is None:
        return say("rank.not_held")
    if point.cents is None:
        return say("rank.no_value", why=translate(point.word))
    if point.mark is Mark.CARE:
        return say("rank.care", why=translate(point.word))
    return say(f"rank.{point.mark.value}")


def _summary(state: RankState) -> str:
    """How many of the rank's pipes were read, how many stray, how many were tuned."""
    if state.chart is None:
        return ""
    tuned = sum(t.after_cents is None for t in state.tuned.values())
    read = state.rank.pipes - state.unread - tuned
    parts = [say("rank.read", read=read, n=state.rank.pipes)]
    if state.strays:
        parts.append(say("rank.strays", n=state.strays))
    if state.tuned:
        parts.append(say("rank.tuned", n=len(state.tuned)))
    return " · ".join(parts)


def _side(semitones: int) -> str:
    return "" if semitones == 0 else say("rank.above" if semitones > 0 else "rank.below")


def _number(rank: Rank, semitone: int) -> int:
    return next((n for n, key in enumerate(rank.keys, 1) if key.semitone == semitone), 0)


def _chosen(request: Request, rank: Rank) -> int | None:
    text = request.query_params.get("pipe", "")
    number = int(text) if text.isascii() and text.isdecimal() and len(text) < 5 else 0
    return number if 1 <= number <= rank.pipes else None


PAGE = Page(
    "rank",
    (
        Door("/organ/{organ:int}/rank/{rank}", rank_page, Permission.READ_RECORDS),
        Door(
            "/organ/{organ:int}/sound/{recording:int}/{hold:int}.wav",
            sound,
            Permission.READ_RECORDS,
        ),
    ),
)
