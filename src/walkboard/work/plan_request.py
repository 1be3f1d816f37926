"""What a person asks of a plan, in their words, made into the question that planning answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptFault, KeptVisit
from walkboard.errors import BookError
from walkboard.organ.model import Organ
from walkboard.planning.air_course import AirCourse, course_of
from walkboard.planning.choose.demands import FAULT_MINUTES, Demands, pipes_named, ranks_named
from walkboard.planning.value.risk import RiskyPipes
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import Question

if TYPE_CHECKING:
    from datetime import datetime

    from walkboard.book.keeping import Book
    from walkboard.planning.what_if import EventAir


@dataclass(frozen=True, slots=True)
class Asked:
    """What is asked of a plan.

    Attributes
    ----------
    event_air_celsius : mapping of division id to °C
        The key ``""`` is for all that are not named.
    use : EventUse
    must, must_not : tuple of str
        Ranks, stops, or pipes as ``rank:number``.
    out_of_reach : tuple of str
        Ranks, chests or divisions.
    within_cents : mapping of stop id to cents
    tie_cents : float
    leave_risky : bool
    """

    event_air_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    use: EventUse = field(default_factory=EventUse)
    must: tuple[str, ...] = ()
    must_not: tuple[str, ...] = ()
    out_of_reach: tuple[str, ...] = ()
    within_cents: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))
    tie_cents: float = 0.0
    leave_risky: bool = False

    def question(self, organ: Organ, minutes: float) -> Question:
        """The question that it is.

        Raises
        ------
        InputError, UnknownNameError
            When a name is not there.
        """
        return Question(
            minutes=minutes,
            event_air_celsius=air_of(organ, self.event_air_celsius),
            use=self.use,
            demands=Demands(
                must=pipes_named(organ, self.must),
                must_not=pipes_named(organ, self.must_not),
                out_of_reach=ranks_named(organ, self.out_of_reach),
                within_cents=dict(self.within_cents),
                tie_cents=self.tie_cents,
                risky=RiskyPipes.LEAVE if self.leave_risky else RiskyPipes.COUNT,
            ),
        )

    def for_event(self, event: KeptEvent, within_cents: float | None = None) -> Asked:
        """The same for an event: its air where none was given, and its use of the organ.

        Parameters
        ----------
        event : KeptEvent
        within_cents : float or None
            How near their pitch the event needs its stops: those that are named for it, else all
            that its registrations draw. What was asked of a single stop stands.
        """
        use = self.use if self.use.registrations else use_of(event)
        needed = event.stops or tuple(s for r in use.registrations for s in r.stops)
        within = {} if within_cents is None else dict.fromkeys(needed, within_cents)
        return replace(
            self,
            event_air_celsius=self.event_air_celsius or event_airs(event),
            use=use,
            within_cents={**within, **self.within_cents},
        )


def air_of(organ: Organ, told: Mapping[str, float]) -> EventAir:
    """Air at the event as planning takes it: one figure, or one by division."""
    if not told:
        return None
    if set(told) == {""}:
        return told[""]
    for division in told:
        if division:
            organ.division(division)
    rest = told.get("")
    whole = {d.id: told.get(d.id, rest) for d in organ.divisions}
    return {division: air for division, air in whole.items() if air is not None}


def event_airs(event: KeptEvent) -> dict[str, float]:
    """Air expected at an event, by division; the key ``""`` is for all others."""
    airs = dict(event.air_by_division)
    if event.air_celsius is not None:
        airs[""] = event.air_celsius
    return airs


def use_of(event: KeptEvent) -> EventUse:
    """How an event uses the organ: as it was told, else by the stops that are named for it."""
    if event.use.registrations or not event.stops:
        return event.use
    return EventUse((RegistrationUse(event.stops, words=event.title),))


def event_named(book: Book, organ_id: int, uid: str) -> KeptEvent:
    """The event of a uid, as it stands.

    Raises
    ------
    BookError
        When there is none, or it is called off.
    """
    for event in book.events(organ_id):
        if event.uid == uid:
            if event.cancelled:
                raise BookError(f"The event {uid!r} is called off.", mend="Name another.")
            return event
    raise BookError(
        f"There is no event {uid!r} in this book.", mend="'walkboard event list' shows them."
    )


def with_faults(organ: Organ, demands: Demands, faults: Sequence[KeptFault]) -> Demands:
    """The same demands, and every pipe that a standing fault was found to belong to.

    Pipes that may not be touched, or not today, are left out.
    """
    named = {fault.pipe for fault in faults if fault.pipe is not None and fault.mended_at is None}
    pipes = {
        pipe
        for pipe in named
        if pipe not in demands.must_not
        and pipe.rank not in demands.out_of_reach
        and not organ.rank(pipe.rank).historic
    }
    return replace(
        demands,
        must=demands.must | pipes,
        extra_minutes={**demands.extra_minutes, **dict.fromkeys(pipes, FAULT_MINUTES)},
    )


def changes_of(book: Book, organ_id: int) -> list[WeightChange]:
    """The weights that the tuner changed."""
    return [WeightChange(kept.subject, kept.factor) for kept in book.weights(organ_id)]


def air_courses(visit: KeptVisit, now: datetime) -> dict[str, AirCourse]:
    """The air's course in each division, from what was noted along the visit."""
    told: dict[str, list[tuple[float, float]]] = {}
    for noted in visit.conditions:
        if noted.noted_at is None:
            continue
        minutes = (noted.noted_at - now).total_seconds() / 60.0
        for division, celsius in noted.air_celsius.items():
            told.setdefault(division, []).append((minutes, celsius))
    return {division: course_of(readings) for division, readings in told.items()}
