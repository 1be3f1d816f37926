"""Plans: the one use case behind the command line, the pages and the demo.

Plans go by the newest description of the organ (`planned_pipes`); a kept plan records which version
it used. What all plans of one state have in common is worked out once; a book with a memory
remembers it, so that a page can try another number of minutes in a small part of a second. Light to
import; what plans is loaded when first asked.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from walkboard.book.records import KeptPlan, KeptVisit
from walkboard.condition.gather import best_readings, stated_air
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.plan import CurvePoint, Plan
from walkboard.plausible import PLAN_MINUTES
from walkboard.work.before_planning import asked_before, reed_follows
from walkboard.work.open_book import now
from walkboard.work.pipe_offsets import latest_air
from walkboard.work.planned_pipes import known_pipes, organ_to_plan, remembered, state_of

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.condition.questions import InputQuestion
    from walkboard.condition.state import Condition
    from walkboard.planning.between_references import Continuous
    from walkboard.planning.request import PlanRequest
    from walkboard.planning.value.weight import WeightChange
    from walkboard.planning.what_if import Prepared
    from walkboard.survey.hear.heard_walk import HeardWalk

CURVE_EVERY_MINUTES = 10.0  # as `walkboard.planning.choose.curve`
_BEYOND = 1.5  # as `walkboard.planning.choose.curve` goes beyond the minutes that it is asked for


@dataclass(frozen=True, slots=True)
class Explained:
    """A plan with its inputs and the questions asked about it.

    Attributes
    ----------
    condition : Condition
    plan : Plan
    sentences : tuple of str
        Why pipes cost what they do.
    questions : tuple of InputQuestion
        To ask before the plan is followed.
    between : Continuous or None
        A bound for references between the grid's.
    """

    condition: Condition
    plan: Plan
    sentences: tuple[str, ...] = ()
    questions: tuple[InputQuestion, ...] = ()
    between: Continuous | None = None


@dataclass(frozen=True, slots=True)
class Difference:
    """A trial plan, compared with the current one.

    Attributes
    ----------
    more, fewer : int
        Pipes that only the tried plan has, and that only the standing plan has.
    """

    more: int
    fewer: int

    @classmethod
    def between(cls, tried: Plan, standing: Plan) -> Difference:
        """What changes from the standing plan to the tried one."""
        new = {item.pipe for item in tried.items}
        old = {item.pipe for item in standing.items}
        return cls(len(new - old), len(old - new))


def from_walks(
    organ: Organ,
    walks: Sequence[HeardWalk],
    request: PlanRequest,
    *,
    changes: Sequence[WeightChange] = (),
    explain: Sequence[str] = (),
    certify: bool = False,
) -> Explained:
    """The organ's condition and the worklist, from readings alone: no book is needed.

    Parameters
    ----------
    organ : Organ
    walks : sequence of HeardWalk
    request : PlanRequest
    changes : sequence of WeightChange
        What the tuner changed of the weights.
    explain : sequence of str
        Ranks, stops, or pipes as ``rank:number`` whose cost is to be explained.
    certify : bool
        Whether to bound references between the grid's as well.

    Raises
    ------
    InputError
        When the readings are of another organ or hold nothing to plan with.
    NotEnoughMinutesError
        When what must be done does not fit.
    """
    from walkboard.condition.assess import assess
    from walkboard.condition.pulling import pulling_pairs
    from walkboard.planning.what_if import prepare

    pipes = best_readings(organ, walks)
    if not pipes:
        raise InputError(
            "There is no usable reading to plan with.",
            fix="Listen to at least one stop; flags in the readings say what went wrong.",
        )
    condition = assess(organ, pipes, stated_air(organ, walks))
    ready = prepare(
        organ, condition, pipes, changes=changes, pulling=pulling_pairs(organ, walks, pipes)
    )
    whole = adopted(request)
    plan = ready.plan(whole)
    return Explained(
        condition,
        plan,
        sentences(organ, ready, whole, plan, explain),
        asked_before(organ, walks, condition, whole),
        ready.certificate(whole) if certify else None,
    )


def prepared(book: Book, visit: KeptVisit) -> Prepared:
    """What the plans of a visit have in common, in its present state.

    Raises
    ------
    InputError
        When nothing usable was heard yet.
    """

    def work_out() -> Prepared:
        from walkboard.condition.assess import assess
        from walkboard.condition.pulling import pulling_pairs
        from walkboard.planning.what_if import prepare
        from walkboard.work.plan_request import air_courses, changes_of

        organ, pipes = organ_to_plan(book, visit), known_pipes(book, visit)
        if not pipes:
            raise InputError(
                "There is no usable reading to plan with.",
                fix="Take in a recording with 'walkboard visit take' first.",
            )
        return prepare(
            organ,
            assess(organ, pipes, latest_air(visit).celsius),
            pipes,
            changes=changes_of(book, visit.organ_id),
            air=air_courses(visit, now()),
            reed_follows=reed_follows(book, visit, organ),
            pulling=pulling_pairs(
                organ, [recording.walk for recording in book.recordings(visit.id)], pipes
            ),
        )

    return remembered(book, ("prepared", *state_of(book, visit)), work_out)


def questions(book: Book, visit: KeptVisit, request: PlanRequest) -> tuple[InputQuestion, ...]:
    """What to ask the tuner before a visit's readings are planned with.

    Raises
    ------
    InputError
        When nothing usable was heard yet.
    """
    ready = prepared(book, visit)
    walks = [recording.walk for recording in book.recordings(visit.id)]
    return asked_before(ready.organ, walks, ready.condition, request)


def tried(book: Book, visit: KeptVisit, request: PlanRequest) -> Plan:
    """The plan that answers a request; nothing is stored.

    Raises
    ------
    InputError
        When nothing usable was heard yet, or the request is impossible.
    NotEnoughMinutesError
        When what must be done does not fit.
    """
    return prepared(book, visit).plan(request)


def kept(book: Book, visit: KeptVisit, request: PlanRequest) -> KeptPlan:
    """Adopt the plan that answers a request as the worklist; the last one is superseded.

    Raises
    ------
    InputError, NotEnoughMinutesError
        As `tried`.
    BookError
        When the visit is closed.
    """
    plan = prepared(book, visit).plan(adopted(request))
    return book.keep_plan(
        visit.id,
        plan,
        event_air_celsius=request.one_event_air_celsius,
        organ_version=book.organ(visit.organ_id).version,
        purpose=str(request.purpose),
    )


def adopted(request: PlanRequest) -> PlanRequest:
    """The same request for a plan that is to be worked by: proved, and with its curve."""
    return replace(request, prove_order=True, curve_every_minutes=CURVE_EVERY_MINUTES)


def curve(
    book: Book, visit: KeptVisit, request: PlanRequest, longest_minutes: float
) -> tuple[CurvePoint, ...]:
    """The least badness that each number of minutes can leave; the request's own do not matter.

    Parameters
    ----------
    book : Book
    visit : KeptVisit
    request : PlanRequest
    longest_minutes : float
        Where the curve ends [min].
    """
    shown = replace(
        request,
        minutes=longest_minutes / _BEYOND,
        prove_order=False,
        curve_every_minutes=CURVE_EVERY_MINUTES,
    )
    key = ("curve", *state_of(book, visit), longest_minutes, _hashable(request))
    return remembered(book, key, lambda: prepared(book, visit).plan(shown).curve)


def minutes_of(visit: KeptVisit, minutes: float | None) -> float:
    """The minutes asked for, or else the visit's own.

    Raises
    ------
    InputError
        If neither is known, or they are out of range.
    """
    found = visit.minutes if minutes is None else minutes
    if found is None:
        raise InputError("The visit's minutes are not known.", fix="Give --minutes.")
    return PLAN_MINUTES.check(found)


def sentences(
    organ: Organ, ready: Prepared, request: PlanRequest, plan: Plan, named: Sequence[str]
) -> tuple[str, ...]:
    """Why pipes cost what they do, a sentence each, at the pitch that a plan tunes to.

    Raises
    ------
    InputError
        If the organ has no such name, or nothing is known about any of its pipes.
    """
    from walkboard.planning.choose.demands import pipes_named
    from walkboard.planning.reasons import explain

    if not named:
        return ()
    wanted = pipes_named(organ, named)
    above = ready.above_cents(request, plan)
    tuned = [item.pipe for item in plan.items]
    found = [s for s in ready.pipe_offsets(request, tuned) if s.pipe in wanted]
    if not found:
        raise InputError(
            f"Nothing is known of {', '.join(named)}.", fix="Name pipes that were heard."
        )
    return tuple(explain(s, above.get(s.rank.division, 0.0)) for s in found)


def _hashable(request: PlanRequest) -> Hashable:
    """What a curve depends on besides the state."""
    air, demands = request.event_air_celsius, request.demands
    return (
        tuple(sorted(air.items())) if isinstance(air, Mapping) else air,
        repr(request.use),
        tuple(sorted(demands.must)),
        tuple(sorted(demands.must_not)),
        tuple(sorted(demands.out_of_reach)),
        tuple(sorted(demands.within_cents.items())),
        tuple(sorted(demands.extra_minutes.items())),
        demands.tie_cents,
        demands.risky,
        demands.leave_strays,
        request.purpose,
        tuple(sorted(request.coupled)),
    )
