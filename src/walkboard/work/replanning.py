"""Plans tried out while the minutes are still being thought about, and the one that is kept.

What all tries of one state have in common is prepared once and remembered with the book, so that a
try takes a small part of a second. Light to import; what plans is loaded when first asked.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptPlan, KeptVisit
from walkboard.errors import InputError
from walkboard.organ.model import Organ
from walkboard.planning.plan import CurvePoint, Plan
from walkboard.work.seeing import condition, organ_at, standing

if TYPE_CHECKING:
    from walkboard.book.seen import SeenBook
    from walkboard.planning.what_if import EventAir, Prepared, Question

LONGEST_MINUTES = 960.0  # two long days
_LEAST_SHOWN_MINUTES = 120.0
_BEYOND = 1.5  # as `walkboard.planning.curve` goes beyond the minutes that it is asked for
_EVERY_MINUTES = 10.0


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
    """

    minutes: float
    event: KeptEvent | None = None
    event_air_celsius: float | None = None
    out_of_reach: frozenset[str] = field(default_factory=frozenset)

    @property
    def air_celsius(self) -> float | None:
        """The air at the event, where one figure says it [°C]."""
        if self.event_air_celsius is not None or self.event is None:
            return self.event_air_celsius
        return self.event.air_celsius

    def question(self, organ: Organ) -> Question:
        """The question that a plan answers."""
        from walkboard.planning.demands import Demands
        from walkboard.planning.use import EventUse
        from walkboard.planning.what_if import Question

        if not 0.0 <= self.minutes <= LONGEST_MINUTES:
            raise InputError(
                f"A visit cannot last {self.minutes:g} minutes.",
                mend=f"Give 0 to {LONGEST_MINUTES:g}.",
            )
        return Question(
            minutes=self.minutes,
            event_air_celsius=self._air(organ),
            use=EventUse() if self.event is None else self.event.use,
            demands=Demands(out_of_reach=self.out_of_reach),
        )

    def _air(self, organ: Organ) -> EventAir:
        air = self.air_celsius
        if self.event is None or self.event_air_celsius is not None:
            return air
        own = self.event.air_by_division
        if not own:
            return air
        known = {d.id: own.get(d.id, air) for d in organ.divisions}
        return {division: value for division, value in known.items() if value is not None}


def prepared(book: SeenBook, visit: KeptVisit) -> Prepared:
    """What the plans of a visit have in common, as it stands now.

    Raises
    ------
    InputError
        When nothing usable was heard yet.
    """
    weights = book.weights(visit.organ_id)

    def work_out() -> Prepared:
        from walkboard.planning.weighing import WeightChange
        from walkboard.planning.what_if import prepare

        return prepare(
            organ_at(book, visit),
            condition(book, visit),
            tuple(standing(book, visit).values()),
            changes=[WeightChange(weight.subject, weight.factor) for weight in weights],
        )

    return book.memory.get(("prepared", *_state(book, visit), weights), work_out)


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
    asked = (event, wish.event_air_celsius, wish.out_of_reach, book.weights(visit.organ_id))

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


def _state(book: SeenBook, visit: KeptVisit) -> tuple[int, ...]:
    """What the readings and the air of a visit depend on."""
    marks = book.marks(visit.id)
    return visit.id, marks.hearings, marks.ticks, marks.conditions
