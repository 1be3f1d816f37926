"""The plan of a visit: which pipes, at which pitch, in which order, with its certificate."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from walkboard.condition.assessing import surest
from walkboard.condition.state import Condition, PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.choosing import Chosen, choose
from walkboard.planning.curve import EVERY_MINUTES, cost_curve, in_steps_within
from walkboard.planning.minutes import in_minutes, in_steps
from walkboard.planning.ordering import in_order, mixtures_after, reference_rank, visit_of
from walkboard.planning.pitch import DivisionPitch, division_pitches
from walkboard.planning.plan import Plan, PlanItem, Reference
from walkboard.planning.problem import Problem, pose
from walkboard.planning.standing import Standing, standings, unheard_pull
from walkboard.planning.task import Task
from walkboard.planning.walking import Leg, Ways
from walkboard.planning.words import move, why
from walkboard.quantities import ratio_of_cents

_FREE_TURNS = 3  # of choosing and walking; then the walks charged may only rise


def make_plan(
    organ: Organ,
    condition: Condition,
    pipes: Sequence[PipeCents],
    minutes: float,
    *,
    event_air_celsius: float | Mapping[str, float] | None = None,
    curve_every_minutes: float = EVERY_MINUTES,
) -> Plan:
    """Worklist that leaves the least audible badness in the minutes there are.

    Parameters
    ----------
    organ : Organ
    condition : Condition
        From `walkboard.condition.assessing.assess`, of the same readings; brings the thermometers.
    pipes : sequence of PipeCents
        Where pipes stand; of several readings of one pipe the surest counts. Pipes that were not
        heard are not planned.
    minutes : float
        That there are for tuning, walking and set-ups included.
    event_air_celsius : float, mapping of division id to float, optional
        Air at the event [°C], the same everywhere or by division. Reeds are then set to where the
        flues will stand; without it, to where they stand today.
    curve_every_minutes : float

    Returns
    -------
    Plan
        The choice of pipes and reference is proved optimal on a grid of 0.1 cent within ±8 cents of
        where the organ stands, for the minutes that its own walks and set-ups take; `Plan.gap` says
        what is not proved. The order of work is a good one, not a proved one.

    Raises
    ------
    InputError
        When there is no pipe, when the minutes are negative, or when the event's air is none.
    """
    _check(pipes, minutes, event_air_celsius)
    heard = surest(pipes)
    pitches = division_pitches(organ, condition, event_air_celsius)
    standing = standings(organ, pitches, heard)
    pull = unheard_pull(organ, pitches, heard)
    problem = pose(standing, pull)
    outcome = choose_and_walk(organ, problem, in_steps_within(minutes))
    reference = float(outcome.task.references_cents[outcome.chosen.reference])
    ordered = in_order(outcome.picked(problem), outcome.legs, reference_rank(organ))
    return Plan(
        minutes=minutes,
        reference=tuple(
            Reference(id_, pitch.above_cents + reference, pitch.air_celsius)
            for id_, pitch in pitches.items()
            if id_ in condition.divisions
        ),
        items=tuple(
            _item(order, s, reference, pitches[s.rank.division])
            for order, s in enumerate(ordered, start=1)
        ),
        cost_before=float(outcome.task.untouched.min()),
        cost_after=outcome.chosen.cost,
        cost_bound=outcome.chosen.bound,
        minutes_used=in_minutes(outcome.used),
        curve=cost_curve(outcome.task, minutes, every_minutes=curve_every_minutes),
    )


@dataclass(frozen=True, slots=True)
class Outcome:
    """A choice and the way through the case that it takes."""

    task: Task
    chosen: Chosen
    legs: tuple[Leg, ...]
    used: int

    def picked(self, problem: Problem) -> list[Standing]:
        """The pipes chosen."""
        return [problem.tunable[i] for i in np.flatnonzero(self.chosen.pipes)]


def choose_and_walk(organ: Organ, problem: Problem, capacity: int) -> Outcome:
    """Choose with the walks charged, walk what was chosen, and again until both agree."""
    ways, reference = Ways(organ), reference_rank(organ)
    first = reference.chest if reference else None
    visits = {visit_of(s) for s in problem.tunable}
    legs = ways.round_trip(visits, first, mixtures_after(problem.tunable))
    charges = ways.charges(legs, visits)
    start: int | None = None
    for turn in count():
        task = problem.task(organ, charges)
        chosen = choose(task, capacity, start)
        start = chosen.reference
        picked = [problem.tunable[i] for i in np.flatnonzero(chosen.pipes)]
        legs = ways.round_trip({visit_of(s) for s in picked}, first, mixtures_after(picked))
        walked = ways.charges(legs, visits)
        if all(walked[leg.visit] <= charges[leg.visit] + 1e-9 for leg in legs) and (
            turn >= _FREE_TURNS or all(walked[v.visit] == charges[v.visit] for v in legs)
        ):
            saved = sum(in_steps(charges[v.visit]) - in_steps(walked[v.visit]) for v in legs)
            return Outcome(task, chosen, legs, task.time_of(chosen.pipes) - saved)
        if turn < _FREE_TURNS:
            charges = walked
        else:  # two ways take turns: charge the longer of what each says, which must settle
            charges = {visit: max(charges[visit], walked[visit]) for visit in visits}
    raise AssertionError("charges that only rise, and are as long as some walk, settle")


def _item(order: int, standing: Standing, reference: float, pitch: DivisionPitch) -> PlanItem:
    off = standing.cents - reference
    return PlanItem(
        order=order,
        pipe=standing.pipe,
        cents=off,
        target_hz=standing.target_hz * ratio_of_cents(reference),
        move=move(off),
        minutes=standing.minutes,
        why=why(standing, reference, pitch),
    )


def _check(
    pipes: Sequence[PipeCents],
    minutes: float,
    event_air_celsius: float | Mapping[str, float] | None,
) -> None:
    if not pipes:
        raise InputError(
            "There is no reading to plan with.", mend="Take in at least one walk of a stop first."
        )
    if not 0.0 <= minutes < 100_000.0:
        raise InputError(
            f"A visit cannot last {minutes:g} minutes.",
            mend="Give the minutes there are, 0 or more.",
        )
    given = event_air_celsius
    airs = given.values() if isinstance(given, Mapping) else () if given is None else (given,)
    for air in airs:
        if not -20.0 <= air <= 50.0:
            raise InputError(
                f"The event's air cannot be {air:g} °C.",
                mend="Give °C from -20 to 50; was °F meant?",
            )
