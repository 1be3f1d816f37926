"""From the choice and its route to the plan: its lines, its curve and its notes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from walkboard.condition.state import PipeCents
from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.air_course import AirCourse
from walkboard.planning.choose import tied
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.curve import cost_curve, in_steps_within, passing_through
from walkboard.planning.choose.problem import STAYS_CENTS, Problem
from walkboard.planning.items import items_of, ordered_work
from walkboard.planning.minutes import in_minutes
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.plan import CurvePoint, Plan, Reference
from walkboard.planning.request import PlanRequest
from walkboard.planning.with_walks import Outcome

FORECAST_ONLY = (
    "Nothing was heard today: this plan rests on forecasts alone and may leave the organ worse. "
    "Listen to the first keys before you tune."
)


def plan_of(
    request: PlanRequest,
    problem: Problem,
    outcome: Outcome,
    *,
    pitches: Mapping[str, DivisionPitch],
    divisions: Iterable[str],
    air: Mapping[str, AirCourse],
) -> Plan:
    """The plan of a choice and its way.

    Parameters
    ----------
    request : PlanRequest
    problem : Problem
    outcome : Outcome
        Of that problem.
    pitches : mapping of division id to DivisionPitch
    divisions : iterable of str
        Ids of the divisions whose pitch is reported beside those with known pipes.
    air : mapping of division id to AirCourse
    """
    task, chosen = outcome.task, outcome.chosen
    organ, known = problem.situation.layout.organ, problem.situation.known
    reference = _references(problem, outcome)
    wanted = {*divisions, *(organ.rank(k.pipe.rank).division for k in known)}
    if task.parts is None:
        before = float(task.untouched.min())
    else:
        before = tied.least(task.parts.untouched, task.parts.within)[1]
    heard = any(isinstance(k, PipeCents) for k in known)
    return Plan(
        minutes=request.minutes,
        reference=tuple(
            Reference(
                id_,
                pitch.above_cents + reference[id_],
                pitch.air_celsius,
                None if request.event_air_celsius is None else pitch.event_celsius,
            )
            for id_, pitch in pitches.items()
            if id_ in wanted
        ),
        items=items_of(
            ordered_work(organ, outcome.picked(problem), outcome.legs), reference, pitches, air
        ),
        cost_before=before,
        cost_after=chosen.cost,
        cost_bound=chosen.bound,
        minutes_used=in_minutes(outcome.used),
        curve=_curve(request, problem, outcome),
        walk_minutes=outcome.way.minutes,
        walk_bound_minutes=outcome.way.bound_minutes,
        notes=(
            *(() if heard else (FORECAST_ONLY,)),
            *problem.notes,
            *_pulling(problem, outcome),
            *_moved(request, problem, outcome),
        ),
    )


def _pulling(problem: Problem, outcome: Outcome) -> tuple[str, ...]:
    """How to tune the pairs that pull each other, if there is one in the plan."""
    picked = {offset.pipe for offset in outcome.picked(problem)}
    pairs = sum(not picked.isdisjoint(pair.drawn_cents) for pair in problem.situation.pulling)
    if not pairs:
        return ()
    which = "A pair of pipes pulls" if pairs == 1 else f"{pairs} pairs of pipes pull"
    return (
        f"{which} each other: tune each of the two with the other silent, then listen to both.",
    )


def _curve(request: PlanRequest, problem: Problem, outcome: Outcome) -> tuple[CurvePoint, ...]:
    if request.curve_every_minutes is None:
        return ()
    points = cost_curve(
        outcome.task,
        request.minutes,
        every_minutes=request.curve_every_minutes,
        otherwise=replace(outcome.task, must=problem.must),
    )
    return passing_through(points, request.minutes, outcome.chosen.cost)


def _moved(request: PlanRequest, problem: Problem, outcome: Outcome) -> tuple[str, ...]:
    """What is heard less by moving the reference, if it is moved enough to matter."""
    task, chosen = outcome.task, outcome.chosen
    moved = task.references_cents[[chosen.reference]]
    if task.parts is not None or abs(moved[0]) <= STAYS_CENTS + 1e-9:
        return ()
    where = f"All is tuned {moved[0]:+.1f} cents from the organ's present pitch"
    here = task.at_reference(len(task.references_cents) // 2)
    try:
        stay = choose(here, in_steps_within(request.minutes)).cost
    except NotEnoughMinutesError:
        return (f"{where}: nearer, what must be done does not fit.",)
    buys = stay - (chosen.cost - float(problem.charge_for_moving(moved)[0]))
    return (f"{where}: that leaves {buys:.1f} less badness ({buys / max(stay, 1e-9):.0%}).",)


def _references(problem: Problem, outcome: Outcome) -> dict[str, float]:
    """The reference of every division, above its present pitch [cents]."""
    at = outcome.task.references_cents
    chosen = outcome.chosen.references
    first = float(at[chosen[0]])
    organ = problem.situation.layout.organ
    found = {division.id: first for division in organ.divisions}
    if outcome.task.parts is not None:
        for division, index in zip(problem.divisions(), chosen, strict=True):
            found[division] = float(at[index])
    return found
