"""Turns a person's request into one that planning can answer.

Names are looked up, an event brings its air and music, open faults become pipes to do.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptFault, KeptVisit
from walkboard.errors import BookError, InputError
from walkboard.organ.model import Organ, PipeRef
from walkboard.planning.air_course import AirCourse, course_of
from walkboard.planning.choose.demands import FAULT_MINUTES, Demands, pipes_named, ranks_named
from walkboard.planning.request import EventAir, PlanRequest
from walkboard.planning.value.ordinary import Purpose
from walkboard.planning.value.risk import RiskyPipes
from walkboard.planning.value.use import EventUse, RegistrationUse
from walkboard.planning.value.weight import WeightChange

if TYPE_CHECKING:
    from datetime import datetime

    from walkboard.book.keeping import Book


@dataclass(frozen=True, slots=True)
class EventNeeds:
    """The event a visit is for.

    Attributes
    ----------
    event : KeptEvent
        Brings its air, and how it uses the organ.
    within_cents : float or None
        How close to pitch it needs its stops: those named for it, otherwise all it draws.
    """

    event: KeptEvent
    within_cents: float | None = None


def request_of(
    organ: Organ,
    minutes: float,
    *,
    event: EventNeeds | None = None,
    event_air_celsius: Mapping[str, float] = MappingProxyType({}),
    use: EventUse | None = None,
    must: Sequence[str] = (),
    must_not: Sequence[str] = (),
    out_of_reach: Sequence[str] = (),
    within_cents: Mapping[str, float] = MappingProxyType({}),
    tie_cents: float = 0.0,
    leave_risky: bool = False,
    leave_strays: bool = False,
    purpose: str = Purpose.HYMNS,
    coupled: Sequence[str] = (),
    faults: Sequence[KeptFault] = (),
) -> PlanRequest:
    """The request made by command line, pages and demo.

    Parameters
    ----------
    organ : Organ
        The organ whose names are used.
    minutes : float
        Minutes available [min].
    event : EventNeeds, optional
        The event the visit is for. Air and use given separately override it.
    event_air_celsius : mapping of division id to °C
        The key ``""`` is for all not named.
    use : EventUse, optional
        Registrations and music.
    must, must_not : sequence of str
        Ranks, stops, or pipes as ``rank:number``.
    out_of_reach : sequence of str
        Ranks, chests or divisions.
    within_cents : mapping of stop id to cents
    tie_cents : float
    leave_risky : bool
    leave_strays : bool
        Whether pipes over 10 cents off are weighed like any other.
    purpose : str
        What the organ is mostly used for.
    coupled : sequence of str
        Divisions that are played coupled, and so tuned to one pitch.
    faults : sequence of KeptFault
        Faults whose pipes must be done.

    Raises
    ------
    InputError, UnknownNameError
        When the organ has no such name, or a figure is out of range.
    """
    airs, within = dict(event_air_celsius), dict(within_cents)
    use = use or EventUse()
    if event is not None:
        airs = airs or event_airs(event.event)
        use = use if use.registrations else use_of(event.event)
        if event.within_cents is not None:
            needed = event.event.stops or tuple(s for r in use.registrations for s in r.stops)
            within = {**dict.fromkeys(needed, event.within_cents), **within}
    if purpose not in set(Purpose):
        raise InputError(
            f"An organ cannot mostly do {purpose!r}.",
            fix=f"Give one of {', '.join(Purpose)}.",
        )
    demands = Demands(
        must=pipes_named(organ, must),
        must_not=pipes_named(organ, must_not),
        out_of_reach=ranks_named(organ, out_of_reach),
        within_cents=within,
        tie_cents=tie_cents,
        risky=RiskyPipes.LEAVE if leave_risky else RiskyPipes.COUNT,
        leave_strays=leave_strays,
    )
    request = PlanRequest(
        minutes=minutes,
        event_air_celsius=air_of(organ, airs),
        use=use,
        purpose=Purpose(purpose),
        coupled=frozenset(coupled),
        demands=with_faults(organ, demands, faults),
    )
    request.check(organ)
    return request


def air_of(organ: Organ, given: Mapping[str, float]) -> EventAir:
    """Air at the event for planning: one figure, or one per division."""
    if not given:
        return None
    if set(given) == {""}:
        return given[""]
    for division in given:
        if division:
            organ.division(division)
    rest = given.get("")
    whole = {d.id: given.get(d.id, rest) for d in organ.divisions}
    return {division: air for division, air in whole.items() if air is not None}


def event_airs(event: KeptEvent) -> dict[str, float]:
    """Air expected at an event, by division; the key ``""`` is for all others."""
    airs = dict(event.air_by_division)
    if event.air_celsius is not None:
        airs[""] = event.air_celsius
    return airs


def use_of(event: KeptEvent) -> EventUse:
    """How an event uses the organ: its registrations, otherwise the stops named for it."""
    if event.use.registrations or not event.stops:
        return event.use
    return EventUse((RegistrationUse(event.stops, words=event.title),))


def event_named(book: Book, organ_id: int, uid: str) -> KeptEvent:
    """The current event of a uid.

    Raises
    ------
    BookError
        If there is no such event, or it is cancelled.
    """
    for event in book.events(organ_id):
        if event.uid == uid:
            if event.cancelled:
                raise BookError(f"The event {uid!r} is cancelled.", fix="Name another.")
            return event
    raise BookError(
        f"There is no event {uid!r} in this book.", fix="'walkboard event list' shows them."
    )


def with_faults(organ: Organ, demands: Demands, faults: Sequence[KeptFault]) -> Demands:
    """The same demands plus every pipe with an open fault.

    Pipes that must not be touched, or are out of reach, are left out.
    """
    there = {rank.id: rank for rank in organ.ranks}
    pipes: set[PipeRef] = set()
    for fault in faults:
        pipe = fault.pipe
        if pipe is None or fault.mended_at is not None:
            continue
        rank = there.get(pipe.rank)
        if rank is None or rank.historic or pipe.number > rank.pipes:
            continue
        if pipe not in demands.must_not and pipe.rank not in demands.out_of_reach:
            pipes.add(pipe)
    return replace(
        demands,
        must=demands.must | pipes,
        extra_minutes={**demands.extra_minutes, **dict.fromkeys(pipes, FAULT_MINUTES)},
    )


def usual_purpose(book: Book, organ_id: int) -> Purpose:
    """What the organ mostly does, as the last plan of any visit was made for; else hymns."""
    last = book.last_purpose(organ_id)
    return Purpose(last) if last in set(Purpose) else Purpose.HYMNS


def changes_of(book: Book, organ_id: int) -> list[WeightChange]:
    """The weights that the tuner changed."""
    return [WeightChange(kept.subject, kept.factor) for kept in book.weights(organ_id)]


def air_courses(visit: KeptVisit, now: datetime) -> dict[str, AirCourse]:
    """The course of the air in each division, from what was noted during the visit."""
    noted_by: dict[str, list[tuple[float, float]]] = {}
    for noted in visit.conditions:
        if noted.noted_at is None:
            continue
        minutes = (noted.noted_at - now).total_seconds() / 60.0
        for division, celsius in noted.air_celsius.items():
            noted_by.setdefault(division, []).append((minutes, celsius))
    return {division: course_of(readings) for division, readings in noted_by.items()}
