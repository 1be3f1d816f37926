"""Plans of one state of an organ under changing questions, each answered at once.

`prepare` works out once what the questions have in common; `Prepared.plan` answers one. Minutes,
ranks out of reach, tolerances and musts change only the choice; an event with other air or other
music changes what pipes cost, and the last few events are remembered.

Examples
--------
>>> from walkboard.planning.what_if import Question, prepare  # doctest: +SKIP
>>> prepared = prepare(organ, condition, pipes)               # doctest: +SKIP
>>> plan = prepared.plan(Question(minutes=120.0))             # doctest: +SKIP
>>> longer = prepared.plan(Question(minutes=150.0))           # doctest: +SKIP
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from walkboard.condition.assess import surest
from walkboard.condition.state import Condition, PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.air_course import AirCourse
from walkboard.planning.choose import tied
from walkboard.planning.choose.arrays import FloatArray
from walkboard.planning.choose.continuous import Continuous, certify
from walkboard.planning.choose.curve import cost_curve, in_steps_within
from walkboard.planning.choose.demands import Demands
from walkboard.planning.choose.problem import Problem, pose
from walkboard.planning.items import items_of, ordered_work
from walkboard.planning.pitch import DivisionPitch, division_pitches
from walkboard.planning.plan import CurvePoint, Plan, Reference
from walkboard.planning.route.minutes import in_minutes
from walkboard.planning.route.shortest import BEAMS
from walkboard.planning.route.ways import QUICK, Ways, Weather
from walkboard.planning.route.with_choice import Outcome, choose_and_walk
from walkboard.planning.value.belief import Belief, PipeForecast
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offsets import Situation, Standing, situation, unheard_pull
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.weight import WeightChange, weigh

_EVENTS_REMEMBERED = 4
# Of a pipe that must be seen to and that nobody heard: it may stand anywhere. Own choice.
UNKNOWN_CENTS = 10.0

EventAir = float | Mapping[str, float] | None


@dataclass(frozen=True, slots=True)
class Question:
    """What a plan is asked for.

    Attributes
    ----------
    minutes : float
        That there are, walking and set-ups included.
    event_air_celsius : float, mapping of division id to float, or None
        Air at the event [°C].
    use : EventUse
        How the event uses the organ; empty: as it is usually played.
    demands : Demands
    curve_every_minutes : float or None
        None: no curve.
    prove_order : bool
        Whether the way through the case is proved as far as can be; otherwise a good one is taken.
    """

    minutes: float
    event_air_celsius: EventAir = None
    use: EventUse = field(default_factory=EventUse)
    demands: Demands = field(default_factory=Demands)
    curve_every_minutes: float | None = None
    prove_order: bool = False

    def check(self, organ: Organ) -> None:
        """Refuse what cannot be.

        Raises
        ------
        InputError
            When the minutes are negative, the event's air is none, or a demand cannot be.
        UnknownNameError
            When a stop, rank or division is not there.
        """
        if not 0.0 <= self.minutes < 100_000.0:
            raise InputError(
                f"A visit cannot last {self.minutes:g} minutes.",
                mend="Give the minutes there are, 0 or more.",
            )
        given = self.event_air_celsius
        if isinstance(given, Mapping):
            for division in given:
                organ.division(division)
        airs = given.values() if isinstance(given, Mapping) else () if given is None else (given,)
        for air in airs:
            if not -20.0 <= air <= 50.0:
                raise InputError(
                    f"The event's air cannot be {air:g} °C.",
                    mend="Give °C from -20 to 50; was °F meant?",
                )
        for registration in self.use.registrations:
            for stop in registration.stops:
                organ.stop(stop)
        self.demands.check(organ)


@dataclass(frozen=True, slots=True)
class _Key:
    """What costs depend on."""

    event_air_celsius: EventAir
    use: EventUse
    unknown: tuple[PipeRef, ...]


@dataclass(frozen=True)
class _Costed:
    pitches: Mapping[str, DivisionPitch]
    situation: Situation
    pull: FloatArray


class Prepared:
    """One state of an organ, ready for questions; made by `prepare`."""

    def __init__(
        self,
        organ: Organ,
        condition: Condition,
        known: tuple[PipeCents | PipeForecast, ...],
        changes: Sequence[WeightChange],
        air: Mapping[str, AirCourse],
    ) -> None:
        self.organ, self.condition = organ, condition
        self._known, self._changes, self._air = known, tuple(changes), air
        self._layout, self._ways = Layout.of(organ), Ways(organ)
        self._costed: list[tuple[_Key, _Costed]] = []
        self._base: Situation | None = None  # of the first question

    def plan(self, question: Question) -> Plan:
        """The plan that answers a question.

        Raises
        ------
        InputError, UnknownNameError
            As `Question.check`.
        NotEnoughMinutesError
            When what must be done does not fit; it says how many minutes are missing.
        """
        question.check(self.organ)
        costed = self._cost(question)
        problem = pose(costed.situation, costed.pull, question.demands)
        outcome = self._walked(question, costed, problem)
        return self._plan(question, costed, problem, outcome)

    def _walked(self, question: Question, costed: _Costed, problem: Problem) -> Outcome:
        return choose_and_walk(
            self.organ,
            problem,
            in_steps_within(question.minutes),
            self._ways,
            weather=Weather(
                self._air,
                {id_: pitch.event_celsius for id_, pitch in costed.pitches.items()}
                if question.event_air_celsius is not None
                else {},
            ),
            beams=BEAMS if question.prove_order else QUICK,
        )

    def standings(self, question: Question) -> tuple[Standing, ...]:
        """Every pipe that is known, with what it costs; for `planning.reasons.explain`."""
        question.check(self.organ)
        found = self._cost(question).situation
        return tuple(found.standing(index) for index in range(len(found.known)))

    def above_cents(self, question: Question, plan: Plan) -> dict[str, float]:
        """What a plan tunes each division to, above where it stands [cents]."""
        pitches = self._cost(question).pitches
        return {r.division: r.shift_cents - pitches[r.division].above_cents for r in plan.reference}

    def certificate(self, question: Question) -> Continuous:
        """A bound of a question's plan for every reference, also between the grid's.

        Raises
        ------
        InputError
            When divisions may be tuned apart: the certificate is for one pitch for all.
        """
        question.check(self.organ)
        if question.demands.tie_cents:
            raise InputError(
                "A plan that tunes divisions apart cannot be certified between the references.",
                mend="Ask for one pitch for all.",
            )
        costed = self._cost(question)
        problem = pose(costed.situation, costed.pull, question.demands)
        capacity = in_steps_within(question.minutes)
        outcome = self._walked(question, costed, problem)
        return certify(problem, outcome, capacity, costed.pitches)

    def situation(self, question: Question) -> Situation:
        """Every pipe that is known, weighed for the question's event, as arrays."""
        question.check(self.organ)
        return self._cost(question).situation

    def problem(self, question: Question) -> Problem:
        """The choice that a question poses, as arrays."""
        question.check(self.organ)
        costed = self._cost(question)
        return pose(costed.situation, costed.pull, question.demands)

    def _cost(self, question: Question) -> _Costed:
        unknown = self._unknown(question.demands)
        key = _Key(question.event_air_celsius, question.use, unknown)
        for known, costed in self._costed:
            if known == key:
                return costed
        costed = self._worked_out(question, unknown)
        self._costed = [*self._costed[1 - _EVENTS_REMEMBERED :], (key, costed)]
        return costed

    def _worked_out(self, question: Question, unknown: tuple[PipeRef, ...]) -> _Costed:
        pitches = division_pitches(self.organ, self.condition, question.event_air_celsius)
        usual = Belief.normal(0.0, UNKNOWN_CENTS)
        celsius = self.organ.pitch.at_celsius
        known = self._known + tuple(PipeForecast(p, usual, celsius) for p in unknown)
        event = question.use.condensed() if question.use.registrations else None
        weights = weigh(self._layout, known, event, self._changes)
        base = self._base if not unknown else None
        found = situation(self._layout, pitches, known, weights, before=base)
        if base is None and not unknown:
            self._base = found
        return _Costed(pitches, found, unheard_pull(self._layout, pitches, found.place, weights))

    def _unknown(self, demands: Demands) -> tuple[PipeRef, ...]:
        known = {k.pipe for k in self._known}
        return tuple(sorted(demands.must - known))

    def _plan(
        self, question: Question, costed: _Costed, problem: Problem, outcome: Outcome
    ) -> Plan:
        task, chosen = outcome.task, outcome.chosen
        reference = self._references(problem, outcome)
        work = ordered_work(self.organ, outcome.picked(problem), outcome.legs)
        curve: tuple[CurvePoint, ...] = ()
        if question.curve_every_minutes is not None:
            curve = cost_curve(task, question.minutes, every_minutes=question.curve_every_minutes)
        told = {*self.condition.divisions}
        told |= {self.organ.rank(k.pipe.rank).division for k in costed.situation.known}
        if task.parts is None:
            before = float(task.untouched.min())
        else:
            before = tied.least(task.parts.untouched, task.parts.within)[1]
        return Plan(
            minutes=question.minutes,
            reference=tuple(
                Reference(
                    id_,
                    pitch.above_cents + reference[id_],
                    pitch.air_celsius,
                    None if question.event_air_celsius is None else pitch.event_celsius,
                )
                for id_, pitch in costed.pitches.items()
                if id_ in told
            ),
            items=items_of(work, reference, costed.pitches, self._air),
            cost_before=before,
            cost_after=chosen.cost,
            cost_bound=chosen.bound,
            minutes_used=in_minutes(outcome.used),
            curve=curve,
            walk_minutes=outcome.way.minutes,
            walk_bound_minutes=outcome.way.bound_minutes,
            notes=problem.notes,
        )

    def _references(self, problem: Problem, outcome: Outcome) -> dict[str, float]:
        """The reference of every division, above where it stands [cents]."""
        at = outcome.task.references_cents
        chosen = outcome.chosen.references
        first = float(at[chosen[0]])
        found = {division.id: first for division in self.organ.divisions}
        if outcome.task.parts is not None:
            for division, index in zip(problem.divisions(), chosen, strict=True):
                found[division] = float(at[index])
        return found


def prepare(
    organ: Organ,
    condition: Condition,
    pipes: Sequence[PipeCents],
    *,
    forecasts: Sequence[PipeForecast] = (),
    changes: Sequence[WeightChange] = (),
    air: Mapping[str, AirCourse] | None = None,
) -> Prepared:
    """Work out what the plans of one state of an organ have in common.

    Parameters
    ----------
    organ : Organ
    condition : Condition
        From `walkboard.condition.assess.assess`, of the same readings; brings the thermometers.
    pipes : sequence of PipeCents
        Where pipes stand; of several readings of one pipe the surest counts.
    forecasts : sequence of PipeForecast
        Of pipes that were not heard; those of pipes that were heard are left out. Other pipes are
        not planned.
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    air : mapping of division id to AirCourse, optional
        The air's course during the visit.

    Raises
    ------
    InputError
        When nothing is known of any pipe.
    """
    heard = surest(pipes)
    there = {p.pipe for p in heard}
    known: tuple[PipeCents | PipeForecast, ...] = (
        *heard,
        *(f for f in forecasts if f.pipe not in there),
    )
    if not known:
        raise InputError(
            "There is no reading to plan with.", mend="Take in at least one walk of a stop first."
        )
    return Prepared(organ, condition, known, changes, air or {})
