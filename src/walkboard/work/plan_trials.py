"""Plans tried out while the minutes are still being thought about, and the one that is kept.

What all tries of one state have in common is prepared once and remembered with the book, so that a
try takes a small part of a second. Light to import; what plans is loaded when first asked.
"""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptFault, KeptPlan, KeptVisit
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.plan import CurvePoint, Plan
from walkboard.work.open_book import now
from walkboard.work.snapshot import condition, organ_at, standing

if TYPE_CHECKING:
    from walkboard.book.seen import SeenBook
    from walkboard.planning.what_if import Prepared, Question

LONGEST_MINUTES = 960.0  # two long days
_LEAST_SHOWN_MINUTES = 120.0
_BEYOND = 1.5  # as `walkboard.planning.choose.curve` goes beyond the minutes that it is asked for
_EVERY_MINUTES = 10.0
_AIR_SECONDS = 600.0  # so long its course is taken to be as it was


@dataclass(frozen=True, slots=True)
class Wish:
    """What the tuner asks of a plan.

    Attributes
    ----------
    minutes : float
    event : KeptEvent or None
        That the visit tunes for; brings its air, and how its music uses the organ.
    event_air_celsius : float or None
        Overrules the event's own [°C].
    out_of_reach : frozenset of str
        Ids of ranks that nobody can get at today.
    faults : tuple of KeptFault
        Whose pipes must be seen to in any case.
    """

    minutes: float
    event: KeptEvent | None = None
    event_air_celsius: float | None = None
    out_of_reach: frozenset[str] = field(default_factory=frozenset)
    faults: tuple[KeptFault, ...] = ()

    @property
    def air_celsius(self) -> float | None:
        """The air at the event, where one figure says it [°C]."""
        if self.event_air_celsius is not None or self.event is None:
            return self.event_air_celsius
        return self.event.air_celsius

    def question(self, organ: Organ) -> Question:
        """The question that a plan answers."""
        from walkboard.work.plan_request import Asked, with_faults

        if not 0.0 <= self.minutes <= LONGEST_MINUTES:
            raise InputError(
                f"A visit cannot last {self.minutes:g} minutes.",
                mend=f"Give 0 to {LONGEST_MINUTES:g}.",
            )
        air = {} if self.event_air_celsius is None else {"": self.event_air_celsius}
        asked = Asked(event_air_celsius=air, out_of_reach=tuple(sorted(self.out_of_reach)))
        if self.event is not None:
            asked = asked.for_event(self.event)
        question = asked.question(organ, self.minutes)
        demands = with_faults(organ, question.demands, self.faults)
        return replace(question, demands=demands)


def prepared(book: SeenBook, visit: KeptVisit) -> Prepared:
    """What the plans of a visit have in common, as it stands now.

    Raises
    ------
    InputError
        When nothing usable was heard yet.
    """

    def work_out() -> Prepared:
        from walkboard.planning.what_if import prepare
        from walkboard.work.plan_request import air_courses, changes_of

        return prepare(
            organ_at(book, visit),
            condition(book, visit),
            tuple(standing(book, visit).values()),
            changes=changes_of(book, visit.organ_id),
            air=air_courses(visit, now()),
        )

    return book.memory.get(("prepared", *_state(book, visit)), work_out)


def tried(book: SeenBook, visit: KeptVisit, wish: Wish) -> Plan:
    """The plan that a wish asks for; nothing is kept.

    Raises
    ------
    InputError
        When nothing usable was heard yet, or the wish cannot be.
    """
    return prepared(book, visit).plan(wish.question(organ_at(book, visit)))


def curve(book: SeenBook, visit: KeptVisit, wish: Wish) -> tuple[CurvePoint, ...]:
    """The least badness that each number of minutes can leave; the wish's own do not matter.

    It is solved once for a state, an event and what is out of reach.
    """
    longest = max(_LEAST_SHOWN_MINUTES, 2.0 * (visit.minutes or 0.0))
    event = None if wish.event is None else wish.event.id
    faults = tuple(fault.id for fault in wish.faults)
    asked = (event, wish.event_air_celsius, wish.out_of_reach, faults)

    def work_out() -> tuple[CurvePoint, ...]:
        whole = replace(wish, minutes=min(longest, LONGEST_MINUTES))
        question = whole.question(organ_at(book, visit))
        shown = replace(
            question, minutes=question.minutes / _BEYOND, curve_every_minutes=_EVERY_MINUTES
        )
        return prepared(book, visit).plan(shown).curve

    return book.memory.get(("curve", *_state(book, visit), *asked), work_out)


def kept(book: SeenBook, visit: KeptVisit, wish: Wish) -> KeptPlan:
    """Make the plan that a wish asks for the worklist of the visit; the last one is superseded.

    Raises
    ------
    InputError
        As `tried`.
    BookError
        When the visit is closed.
    """
    question = wish.question(organ_at(book, visit))
    proved = replace(question, prove_order=True, curve_every_minutes=_EVERY_MINUTES)
    plan = prepared(book, visit).plan(proved)
    return book.keep_plan(visit.id, plan, event_air_celsius=wish.air_celsius)


def _state(book: SeenBook, visit: KeptVisit) -> tuple[Hashable, ...]:
    """What the plans of a visit depend on; the air goes on with time."""
    marks = book.marks(visit.id)
    since = now().timestamp() // _AIR_SECONDS
    weights = book.weights(visit.organ_id)
    return visit.id, marks.hearings, marks.ticks, marks.conditions, since, weights
