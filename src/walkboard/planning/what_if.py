"""Plans for one state of an organ under changing requests, answered quickly.

`prepare` calculates once what the requests share; `Prepared.plan` answers one. Minutes, ranks out
of reach, tolerances and requirements only change the choice; an event with other air or music
changes the pipes' costs, and the last few events are cached.

Examples
--------
>>> from walkboard.planning.what_if import PlanRequest, prepare  # doctest: +SKIP
>>> prepared = prepare(organ, condition, pipes)               # doctest: +SKIP
>>> plan = prepared.plan(PlanRequest(minutes=120.0))             # doctest: +SKIP
>>> longer = prepared.plan(PlanRequest(minutes=150.0))           # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.condition.assess import surest
from walkboard.condition.finite import check_condition, check_shares
from walkboard.condition.pulling import PullingPair
from walkboard.condition.state import Condition, PipeCents
from walkboard.errors import InputError, NotEnoughMinutesError
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.air_course import AirCourse
from walkboard.planning.arrays import FloatArray
from walkboard.planning.between_references import Continuous, certify
from walkboard.planning.choose.curve import in_steps_within
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, pose, strays_fit, with_partners, with_strays
from walkboard.planning.pairs import choose_together
from walkboard.planning.pitch import DivisionPitch, division_pitches
from walkboard.planning.plan import Plan
from walkboard.planning.request import EventAir, PlanRequest
from walkboard.planning.route.shortest import BEAMS
from walkboard.planning.route.ways import QUICK, Ways, Weather
from walkboard.planning.to_plan import plan_of
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.celestes import pairs_known
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.ordinary import Purpose
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.value.pipe_offsets import Situation, situation, unheard_pull
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.weight import WeightChange, weigh
from walkboard.planning.with_walks import Outcome, choose_and_walk

_EVENTS_REMEMBERED = 8
_CELESTE_TURNS = 3  # chosen: most settle in two
# For a pipe that must be done but was not heard: it may be anywhere. Chosen.
UNKNOWN_CENTS = 10.0


@dataclass(frozen=True, slots=True)
class _Key:
    """What costs depend on; the least recently used is dropped first."""

    event_air_celsius: EventAir
    use: EventUse
    purpose: Purpose
    coupled: frozenset[str]
    unknown: tuple[PipeRef, ...]
    tuned: frozenset[PipeRef]


@dataclass(frozen=True)
class _Costed:
    pitches: Mapping[str, DivisionPitch]
    situation: Situation
    pull: FloatArray


class Prepared:
    """One state of an organ, ready for requests; made by `prepare`."""

    def __init__(
        self,
        organ: Organ,
        condition: Condition,
        known: tuple[PipeCents | PipeForecast, ...],
        changes: Sequence[WeightChange],
        *,
        air: Mapping[str, AirCourse],
        reed_follows: Mapping[str, float],
        pulling: Sequence[PullingPair],
    ) -> None:
        self.organ, self.condition = organ, condition
        self._pulling = tuple(pulling)
        self._known, self._changes, self._air = known, tuple(changes), air
        self._reed_follows = reed_follows
        self._layout, self._ways = Layout.of(organ), Ways(organ)
        self._partners = frozenset(known[n].pipe for _, n in pairs_known(organ, known))
        self._costed: list[tuple[_Key, _Costed]] = []
        self._base: Situation | None = None  # of the first request

    def plan(self, request: PlanRequest) -> Plan:
        """The plan that answers a request.

        Raises
        ------
        InputError, UnknownNameError
            As `PlanRequest.check`.
        NotEnoughMinutesError
            If the required work does not fit; says how many minutes are missing.
        """
        request.check(self.organ)
        costed, problem, outcome = self._settled(request)
        return plan_of(
            request,
            problem,
            outcome,
            pitches=costed.pitches,
            divisions=self.condition.divisions,
            air=self._air,
        )

    def _settled(self, request: PlanRequest) -> tuple[_Costed, Problem, Outcome]:
        """The choice, and what pipes cost with the partners of celestes that it tunes.

        A celeste is tuned to its partner as that will be: whether the partner is tuned is part of
        the choice. Choose with the partners as they are, then with those tuned that were chosen,
        until both agree; else the cheapest of a few turns.
        """
        tuned: frozenset[PipeRef] = frozenset()
        best: tuple[_Costed, Problem, Outcome] | None = None
        freely: Problem | None = None
        for _ in range(_CELESTE_TURNS):
            costed = self._cost(request, tuned)
            problem = pose(costed.situation, costed.pull, request.demands)
            freely = freely or self._freely(request, problem)
            outcome = self._walked(request, costed, problem, freely)
            chosen = self._partners & {offset.pipe for offset in outcome.picked(problem)}
            after = self._cost(request, chosen)
            there = pose(after.situation, after.pull, request.demands)
            if chosen != tuned and np.array_equal(there.order, problem.order):
                costed, problem, outcome = after, there, _as_it_turns_out(outcome, there)
            if best is None or outcome.chosen.cost < best[2].chosen.cost - 1e-9:
                best = costed, problem, outcome
            if chosen == tuned:
                break
            tuned = chosen
        assert best is not None
        return best

    def _freely(self, request: PlanRequest, as_is: Problem) -> Problem:
        """The problem whose bound holds whichever partners of celestes are tuned."""
        if not self._partners:
            return as_is
        return with_partners(as_is, self._cost(request, self._partners).situation)

    def _walked(
        self, request: PlanRequest, costed: _Costed, problem: Problem, freely: Problem
    ) -> Outcome:
        """The choice with its walks: with every stray if they all fit, else the best choice."""
        capacity = in_steps_within(request.minutes)
        firmer = problem if request.demands.leave_strays else with_strays(problem)
        if firmer is not problem and strays_fit(firmer, capacity):
            # the bound is of the plans that tune the same strays
            same = np.array_equal(freely.order, firmer.order)
            among = replace(freely, must=firmer.must) if same else freely
            try:
                return self._chosen(request, costed, firmer, among)
            except NotEnoughMinutesError:
                pass
        return self._chosen(request, costed, problem, freely)

    def _chosen(
        self, request: PlanRequest, costed: _Costed, problem: Problem, freely: Problem
    ) -> Outcome:
        def chosen(posed: Problem) -> Outcome:
            return choose_and_walk(
                self.organ,
                posed,
                in_steps_within(request.minutes),
                self._ways,
                weather=Weather(
                    self._air,
                    {id_: pitch.event_celsius for id_, pitch in costed.pitches.items()}
                    if request.event_air_celsius is not None
                    else {},
                ),
                beams=BEAMS if request.prove_order else QUICK,
                freely=freely,
            )

        return choose_together(problem, costed.situation.pulling, chosen)

    def pipe_offsets(
        self, request: PlanRequest, tuned: Collection[PipeRef] = ()
    ) -> tuple[PipeOffset, ...]:
        """Every known pipe with its cost; for `planning.reasons.explain`.

        Parameters
        ----------
        request : PlanRequest
        tuned : collection of PipeRef
            Pipes that a plan tunes: celestes are judged against partners among them as tuned.
        """
        request.check(self.organ)
        found = self._cost(request, self._partners.intersection(tuned)).situation
        return tuple(found.offset(index) for index in range(len(found.known)))

    def above_cents(self, request: PlanRequest, plan: Plan) -> dict[str, float]:
        """What a plan tunes each division to, above its present pitch [cents]."""
        pitches = self._cost(request).pitches
        return {r.division: r.shift_cents - pitches[r.division].above_cents for r in plan.reference}

    def certificate(self, request: PlanRequest) -> Continuous:
        """A bound of a request's plan for every reference, also between the grid's points.

        Raises
        ------
        InputError
            If divisions may be tuned apart: the proof is for one pitch for all.
        """
        request.check(self.organ)
        if request.demands.tie_cents:
            raise InputError(
                "A plan that tunes divisions apart cannot be certified between the references.",
                fix="Ask for one pitch for all.",
            )
        capacity = in_steps_within(request.minutes)
        costed, problem, outcome = self._settled(request)
        return certify(problem, outcome, capacity, costed.pitches)

    def situation(self, request: PlanRequest) -> Situation:
        """Every known pipe, weighted for the request's event, as arrays."""
        request.check(self.organ)
        return self._cost(request).situation

    def problem(self, request: PlanRequest, tuned: Collection[PipeRef] = ()) -> Problem:
        """The choice that a request poses, as arrays; `tuned` as in `pipe_offsets`."""
        request.check(self.organ)
        costed = self._cost(request, self._partners.intersection(tuned))
        return pose(costed.situation, costed.pull, request.demands)

    def _cost(self, request: PlanRequest, tuned: frozenset[PipeRef] = frozenset()) -> _Costed:
        unknown = self._unknown(request.demands)
        key = _Key(
            request.event_air_celsius,
            request.use,
            request.purpose,
            request.coupled,
            unknown,
            tuned,
        )
        for place, (known, costed) in enumerate(self._costed):
            if known == key:
                self._costed.append(self._costed.pop(place))
                return costed
        costed = self._worked_out(request, unknown, tuned)
        self._costed = [*self._costed[1 - _EVENTS_REMEMBERED :], (key, costed)]
        return costed

    def _worked_out(
        self, request: PlanRequest, unknown: tuple[PipeRef, ...], tuned: frozenset[PipeRef]
    ) -> _Costed:
        pitches = division_pitches(
            self.organ, self.condition, request.event_air_celsius, request.coupled
        )
        usual = Belief.normal(0.0, UNKNOWN_CENTS)
        celsius = self.organ.pitch.at_celsius
        known = self._known + tuple(PipeForecast(p, usual, celsius) for p in unknown)
        event = request.use.condensed() if request.use.registrations else None
        weights = weigh(self._layout, known, event, self._changes, request.purpose)
        base = self._base if not unknown else None
        found = situation(
            self._layout,
            pitches,
            known,
            weights,
            before=base,
            reed_follows=self._reed_follows,
            tuned=tuned,
            pulling=self._pulling,
        )
        if base is None and not unknown:
            self._base = found
        return _Costed(pitches, found, unheard_pull(self._layout, pitches, found.place, weights))

    def _unknown(self, demands: Demands) -> tuple[PipeRef, ...]:
        known = {k.pipe for k in self._known}
        return tuple(sorted(demands.must - known))


def _as_it_turns_out(outcome: Outcome, there: Problem) -> Outcome:
    """The same choice among the same pipes, costed by what holds once it is made."""
    nowhere = {there.visit_of(rank.id): 0.0 for rank in there.ranks_once()}
    costed = there.task(nowhere)
    task = replace(outcome.task, untouched=costed.untouched, gain=costed.gain, parts=costed.parts)
    chosen = outcome.chosen
    cost = task.row(chosen.references).cost_of(chosen.pipes)
    return replace(
        outcome, task=task, chosen=replace(chosen, cost=cost, bound=min(cost, chosen.bound))
    )


def prepare(
    organ: Organ,
    condition: Condition,
    pipes: Sequence[PipeCents],
    *,
    forecasts: Sequence[PipeForecast] = (),
    changes: Sequence[WeightChange] = (),
    air: Mapping[str, AirCourse] | None = None,
    reed_follows: Mapping[str, float] | None = None,
    pulling: Sequence[PullingPair] = (),
) -> Prepared:
    """Calculate what the plans for one state of an organ share.

    Parameters
    ----------
    organ : Organ
    condition : Condition
        From `walkboard.condition.assess.assess`, from the same readings; includes the thermometers.
    pipes : sequence of PipeCents
        Deviations of pipes; of several readings of one pipe the most certain counts.
    forecasts : sequence of PipeForecast
        Forecasts of pipes that were not heard; any of heard pipes are ignored. Other pipes are not
        planned.
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    air : mapping of division id to AirCourse, optional
        The air's course during the visit.
    reed_follows : mapping of rank id to float, optional
        As in `walkboard.planning.value.pipe_offsets.situation`.
    pulling : sequence of PullingPair
        From `walkboard.condition.pulling.pulling_pairs`, from the same readings.

    Raises
    ------
    InputError
        If no pipe is known, or a figure is out of range, NaN for example.
    """
    check_condition(condition)
    check_shares(reed_follows or {}, what="The part of the flues' movement that a reed follows")
    heard = surest(pipes)
    there = {p.pipe for p in heard}
    known: tuple[PipeCents | PipeForecast, ...] = (
        *heard,
        *(f for f in forecasts if f.pipe not in there),
    )
    if not known:
        raise InputError(
            "There is no reading to plan with.", fix="Take in at least one walk of a stop first."
        )
    return Prepared(
        organ,
        condition,
        known,
        changes,
        air=air or {},
        reed_follows=reed_follows or {},
        pulling=pulling,
    )
