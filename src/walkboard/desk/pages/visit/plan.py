"""The plan: what the minutes gain, updated as the slider moves, and the adopted one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, QueryParams
from starlette.requests import Request
from starlette.responses import Response

from walkboard.book.records import KeptEvent, KeptFault, TickState
from walkboard.desk.drawing.visit import NARROW, curve_drawing
from walkboard.desk.pages.visit.frame import (
    AtVisit,
    number_in,
    render_step,
    surely_at_work,
    to_visit,
    visit_at_work,
)
from walkboard.desk.text.catalogue import say
from walkboard.desk.text.stops import rank_in_division
from walkboard.errors import InputError, WalkboardError
from walkboard.languages.translation import translate
from walkboard.organ.model import Organ
from walkboard.planning.plan import CurvePoint, Plan
from walkboard.planning.request import LONGEST_MINUTES, PlanRequest
from walkboard.planning.value.ordinary import Purpose
from walkboard.sheets.rank_charts import STRAY_CENTS
from walkboard.sheets.wording import against, rank_words
from walkboard.work import plans
from walkboard.work.before_planning import moved_since
from walkboard.work.plan_request import EventNeeds, request_of, usual_purpose
from walkboard.work.planned_pipes import organ_to_plan
from walkboard.work.snapshot import pipe_cents
from walkboard.work.worklist import groups_of

if TYPE_CHECKING:
    from walkboard.condition.questions import InputQuestion

Asked = QueryParams | FormData
_USUAL_MINUTES = 120.0
_NO_EVENT = "none"
_EVENTS_SHOWN = 12
_STILL_SHOWN = 4


@dataclass(frozen=True, slots=True)
class Wish:
    """What the form asked for, to show it again.

    Attributes
    ----------
    minutes : float
    event : KeptEvent or None
        The event the visit tunes for.
    event_air_celsius : float or None
        Overrides the event's own [°C].
    out_of_reach : frozenset of str
        Ids of ranks that cannot be reached today.
    faults : tuple of KeptFault
        Faults whose pipes must be done.
    purpose : Purpose
        What the organ mostly does.
    leave_strays : bool
        Whether pipes far off are weighed like any other.
    coupled : frozenset of str
        Ids of divisions that are played coupled.
    """

    minutes: float
    event: KeptEvent | None = None
    event_air_celsius: float | None = None
    out_of_reach: frozenset[str] = field(default_factory=frozenset)
    faults: tuple[KeptFault, ...] = ()
    purpose: Purpose = Purpose.HYMNS
    leave_strays: bool = False
    coupled: frozenset[str] = field(default_factory=frozenset)

    def request(self, organ: Organ) -> PlanRequest:
        """The request that it makes."""
        if not 0.0 <= self.minutes <= LONGEST_MINUTES:
            raise InputError(
                f"A visit cannot last {self.minutes:g} minutes.",
                fix=f"Give 0 to {LONGEST_MINUTES:g}.",
            )
        return request_of(
            organ,
            self.minutes,
            event=None if self.event is None else EventNeeds(self.event),
            event_air_celsius=(
                {} if self.event_air_celsius is None else {"": self.event_air_celsius}
            ),
            out_of_reach=sorted(self.out_of_reach),
            faults=self.faults,
            purpose=self.purpose,
            leave_strays=self.leave_strays,
            coupled=sorted(self.coupled),
        )


def plan(request: Request) -> Response:
    """The slider and what else is asked for; the script then asks for the plan itself.

    The first plan of new readings takes a second or so on a large organ, and a page does not wait.
    """
    at = visit_at_work(request)
    if at is None:
        return to_visit(request)
    if not pipe_cents(at.desk.book, at.visit):
        return render_step(request, at, "plan", "visit/plan_nothing.html")
    if "worked" in request.query_params:  # a browser without scripts waits for it
        return _draw(request, at, request.query_params, "visit/plan.html")
    try:
        wish, trouble = _wish(at, request.query_params), None
    except WalkboardError as error:
        wish, trouble = Wish(_usual_minutes(at)), error
    status = 200 if trouble is None else 400
    return _render(request, at, "visit/plan.html", wish, status=status, trouble=trouble, made=None)


def try_plan(request: Request) -> Response:
    """Only what changes as the slider moves: the drawing, the figures, the ranks."""
    at = surely_at_work(request)
    return _draw(request, at, request.query_params, "visit/plan_tried.html")


async def keep_plan(request: Request) -> Response:
    """Adopt this plan as the worklist."""
    form = await request.form()
    return await run_in_threadpool(_keep, request, form)


def _keep(request: Request, form: FormData) -> Response:
    at = surely_at_work(request)
    try:
        organ = organ_to_plan(at.desk.book, at.visit)
        plans.kept(at.desk.book, at.visit, _wish(at, form).request(organ))
    except WalkboardError as error:
        return _draw(request, at, form, "visit/plan.html", error)
    return to_visit(request, "work")


def _draw(
    request: Request,
    at: AtVisit,
    asked: Asked,
    template: str,
    trouble: WalkboardError | None = None,
) -> Response:
    status = 200 if trouble is None else 400
    try:
        wish = _wish(at, asked)
        organ = organ_to_plan(at.desk.book, at.visit)
        made: Plan | None = plans.tried(at.desk.book, at.visit, wish.request(organ))
    except WalkboardError as error:
        wish, made, trouble = Wish(_usual_minutes(at)), None, trouble or error
        status = 400
    figures = {} if made is None else _figures(at, wish, made)
    return _render(
        request, at, template, wish, status=status, trouble=trouble, made=made, **figures
    )


def _render(request: Request, at: AtVisit, template: str, wish: Wish, **values: Any) -> Response:
    return render_step(
        request,
        at,
        "plan",
        template,
        wish=wish,
        events=_events(at),
        purposes=list(Purpose),
        ranks=_ranks(at),
        rank_words=partial(rank_in_division, at.organ),
        longest=_longest(at),
        is_kept=at.desk.book.current_plan(at.visit.id) is not None,
        **values,
    )


def _figures(at: AtVisit, wish: Wish, made: Plan) -> dict[str, Any]:
    organ = organ_to_plan(at.desk.book, at.visit)
    points = plans.curve(at.desk.book, at.visit, wish.request(organ), _longest(at))
    left = made.cost_after / made.cost_before if made.cost_before else 0.0
    groups = groups_of(organ, made)
    words = {
        "title": say("visit.curve_title", minutes=f"{wish.minutes:.0f}", left=f"{100 * left:.0f}"),
        "minutes": say("visit.curve_minutes"),
    }
    here = CurvePoint(wish.minutes, made.cost_after)
    drawn = partial(
        curve_drawing, points, here, made.cost_before, longest=_longest(at), words=words
    )
    gained = {
        group.rank.id: _percent_of(made, sum(step.item.gain for step in group.steps))
        for group in groups
    }
    return {
        "gained": gained,
        "most_gained": max(gained.values(), default=0.0) or 1.0,
        "left_percent": 100.0 * left,
        "ten_percent": _more(made, points, wish.minutes, 10.0),
        "hour_percent": _more(made, points, wish.minutes, 60.0),
        "against": _against_worklist(at, made),
        "still": _still_heard(at, made),
        "gap_percent": 100.0 * made.gap,
        "drawing": drawn(),
        "small_drawing": drawn(plot=NARROW),
        "groups": groups,
        "questions": _questions(at, wish),
        "moved": moved_since(at.desk.book, at.visit),
        "farthest": {
            group.rank.id: max(abs(step.item.cents) for step in group.steps) for group in groups
        },
        "references": [
            {
                "name": at.organ.division(r.division).name,
                "words": translate(against(r.shift_cents, say("visit.own_pitch"))),
                "air": r.air_celsius,
            }
            for r in made.reference
        ],
    }


def _questions(at: AtVisit, wish: Wish) -> tuple[InputQuestion, ...]:
    """What to answer before this plan is followed; those answered are shown with their answer."""
    organ = organ_to_plan(at.desk.book, at.visit)
    unanswered = replace(wish, coupled=frozenset()).request(organ)
    return plans.questions(at.desk.book, at.visit, unanswered)


def _percent_of(made: Plan, gain: float) -> float:
    """A gain in per cent of what is out of tune before anything is done."""
    return max(0.0, 100.0 * gain / made.cost_before) if made.cost_before else 0.0


def _more(
    made: Plan, points: Sequence[CurvePoint], minutes: float, more_minutes: float
) -> float | None:
    """What more minutes would remove, in per cent of the present badness; None if unknown.

    The curve ends somewhere: beyond it nothing is known, unless there was nothing left to gain.
    """
    known = [CurvePoint(0.0, made.cost_before), *points]
    until = minutes + more_minutes
    is_flat = len(known) > 1 and known[-1].cost >= known[-2].cost
    if until > known[-1].minutes and not is_flat:
        return None
    at, costs = [p.minutes for p in known], [p.cost for p in known]
    gain = float(np.interp(minutes, at, costs) - np.interp(until, at, costs))
    return _percent_of(made, gain)


def _against_worklist(at: AtVisit, made: Plan) -> str:
    """How the plan differs from the current worklist: pipes added and removed."""
    last = at.desk.book.current_plan(at.visit.id)
    if last is None:
        return ""
    states = at.desk.book.pipe_states(at.visit.id)
    done = {pipe for pipe, tick in states.items() if tick.state == TickState.DONE}
    now, then = {i.pipe for i in made.items}, {i.pipe for i in last.plan.items} - done
    more, fewer = len(now - then), len(then - now)
    if not more and not fewer:
        return say("visit.as_worklist")
    return say(
        "visit.against_worklist", more=more or say("visit.no"), fewer=fewer or say("visit.no")
    )


def _still_heard(at: AtVisit, made: Plan) -> dict[str, Any]:
    """The strays that the plan leaves: how many, and the farthest of them."""
    states = at.desk.book.pipe_states(at.visit.id)
    treated = {pipe for pipe, tick in states.items() if tick.state == TickState.DONE}
    treated |= {item.pipe for item in made.items}
    shifts = {r.division: r.shift_cents for r in made.reference}
    left = [
        (pipe, there.cents - shifts.get(at.organ.rank(pipe.rank).division, 0.0))
        for pipe, there in pipe_cents(at.desk.book, at.visit).items()
        if pipe not in treated and at.organ.rank(pipe.rank).family.is_flue
    ]
    strays = sorted((s for s in left if abs(s[1]) > STRAY_CENTS), key=lambda s: -abs(s[1]))
    return {
        "n": len(strays),
        "farthest": [
            {
                "rank": rank_words(at.organ, at.organ.rank(pipe.rank)),
                "key": at.organ.rank(pipe.rank).key_of(pipe.number),
                "cents": cents,
            }
            for pipe, cents in strays[:_STILL_SHOWN]
        ],
    }


def _wish(at: AtVisit, asked: Asked) -> Wish:
    """The request; missing parts are taken from the last plan, or the defaults."""
    minutes = number_in(str(asked.get("minutes", "")), say("visit.minutes"))
    air = number_in(str(asked.get("air", "")), say("visit.event_air"))
    out = frozenset(str(rank) for rank in asked.getlist("out"))
    if minutes is None:
        minutes = _usual_minutes(at)
    event = _event(at, str(asked["event"]) if "event" in asked else None)
    last = at.desk.book.current_plan(at.visit.id)
    if "air" not in asked and event is None and last is not None:
        air = last.event_air_celsius
    faults = at.desk.book.open_faults(at.kept.id) if "faults" in asked else ()
    purpose = str(asked.get("purpose") or usual_purpose(at.desk.book, at.kept.id))
    if purpose not in set(Purpose):
        raise InputError(say("visit.no_purpose_what"), fix=say("visit.no_event_fix"))
    coupled = {id_ for both in asked.getlist("coupled") for id_ in str(both).split()}
    return Wish(
        minutes,
        event,
        air,
        out,
        tuple(faults),
        Purpose(purpose),
        leave_strays="strays" in asked,
        coupled=frozenset(coupled),
    )


def _usual_minutes(at: AtVisit) -> float:
    last = at.desk.book.current_plan(at.visit.id)
    if last is not None:
        return last.plan.minutes
    return _USUAL_MINUTES if at.visit.minutes is None else at.visit.minutes


def _longest(at: AtVisit) -> float:
    """Where the slider ends [min]."""
    return min(max(120.0, 2.0 * (at.visit.minutes or 0.0)), LONGEST_MINUTES)


def _event(at: AtVisit, asked: str | None) -> KeptEvent | None:
    events = _events(at)
    if asked is None:
        return events[0] if events else None
    if asked in {"", _NO_EVENT}:
        return None
    for event in events:
        if str(event.id) == asked:
            return event
    raise InputError(say("visit.no_event_what"), fix=say("visit.no_event_fix"))


def _events(at: AtVisit) -> list[KeptEvent]:
    """What is to come, the next first."""
    now = datetime.now(UTC)
    coming = [e for e in at.desk.book.events(at.kept.id) if not e.cancelled and e.starts_at >= now]
    return sorted(coming, key=lambda e: e.starts_at)[:_EVENTS_SHOWN]


def _ranks(at: AtVisit) -> list[dict[str, Any]]:
    """Ranks that were heard, by division, to be left out."""
    heard = {pipe.rank for pipe in pipe_cents(at.desk.book, at.visit)}
    return [
        {
            "name": d.name,
            "ranks": [r for r in at.organ.ranks if r.division == d.id and r.id in heard],
        }
        for d in at.organ.divisions
    ]
