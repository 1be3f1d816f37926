"""Gathers from the book what page 1 of the report says."""

from __future__ import annotations

from collections import Counter
from datetime import date, datetime, tzinfo
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent, KeptFault, KeptVisit, TickState
from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ, PipeRef
from walkboard.sheets.front_page.news import EventNews, FaultNews, NextVisitNews, VenueNews
from walkboard.sheets.keyholder import stop_words
from walkboard.work.calendar.events import local_zone
from walkboard.work.pipe_offsets import latest_air

if TYPE_CHECKING:
    from walkboard.book.keeping import Book
    from walkboard.planning.listen.readiness import Readiness

_HEARD_SHARE = 0.5  # of a stop's pipes read, for the stop to count as listened to; chosen


def venue_news(
    book: Book, organ: Organ, visit: KeptVisit, *, zone: tzinfo | None = None
) -> VenueNews:
    """Everything that page 1 of a visit's report says.

    Parameters
    ----------
    book : Book
    organ : Organ
    visit : KeptVisit
    zone : tzinfo or None
        The venue's time zone; None: this machine's.
    """
    zone = zone or local_zone()
    plan = book.current_plan(visit.id)
    ticks = book.pipe_states(visit.id)
    done = [pipe for pipe, tick in ticks.items() if tick.state == TickState.DONE]
    planned = [] if plan is None else [item.pipe for item in plan.plan.items]
    left = [pipe for pipe in planned if pipe not in set(done)]
    notes = Counter(ticks[p].note for p in left if p in ticks and ticks[p].note)
    faults = [fault for fault in book.faults(visit.organ_id) if fault.stands]
    best = book.best_readings(visit.id)
    heard = {pipe for pipe, kept in best.items() if isinstance(kept.reading, Measured)}
    event = next_event(book, visit)
    found = None if event is None else _readiness(book, organ, visit, event)
    return VenueNews(
        organ=organ.name,
        day=visit.opened_at.astimezone(zone).date(),
        event=None
        if event is None
        else _event(organ, event, found, heard=heard, faults=faults, zone=zone),
        tuned=len(done),
        tuned_stops=tuple(_rank_names(organ, done)),
        left=len(left),
        left_reason=notes.most_common(1)[0][0] if notes else "",
        was_planned=bool(planned),
        is_open=visit.is_open,
        faults=_faults(book, organ, visit, faults),
        tuned_for_celsius=None if plan is None or not done else plan.event_air_celsius,
        enclosed=tuple(d.name for d in organ.divisions if d.enclosed),
        humidity=latest_air(visit).humidity,
        next_visit=_next_visit(book, visit, zone),
        visit_by=_visit_between(found),
        contact=_contact(book, visit.organ_id),
    )


def next_event(book: Book, visit: KeptVisit) -> KeptEvent | None:
    """The first event after a visit was opened that is not called off."""
    coming = [
        event
        for event in book.events(visit.organ_id)
        if not event.cancelled and event.starts_at >= visit.opened_at
    ]
    return min(coming, key=lambda event: event.starts_at, default=None)


def _readiness(book: Book, organ: Organ, visit: KeptVisit, event: KeptEvent) -> Readiness | None:
    from walkboard.planning.listen.readiness import readiness_of
    from walkboard.work import outlook
    from walkboard.work.plan_request import changes_of

    kept = book.organ(visit.organ_id)
    if not any(book.best_readings(v.id) for v in book.visits(kept.id) if v.id <= visit.id):
        return None  # never heard: the usual drift alone says nothing about it
    seen = outlook.followed(book, kept, organ)
    occasion = outlook.occasion_of(organ, event)
    changes = changes_of(book, kept.id)
    minutes = outlook.usual_minutes(book, kept)
    today = visit.opened_at.date()
    return readiness_of(seen.drift, seen.learned, occasion, today, minutes, changes=changes)


def _event(
    organ: Organ,
    event: KeptEvent,
    found: Readiness | None,
    *,
    heard: set[PipeRef],
    faults: list[KeptFault],
    zone: tzinfo,
) -> EventNews:
    known = {stop.id for stop in organ.stops}
    needed = [stop for stop in event.stops if stop in known] or [stop.id for stop in organ.stops]
    weakest: tuple[str, ...] = ()
    if found is not None:
        from walkboard.planning.listen.readiness import READY_CHANCE

        unsure = sorted(found.as_it_is.stops, key=lambda stop: stop.chance)
        weakest = tuple(stop_name(organ, s.stop) for s in unsure if s.chance < READY_CHANCE)
    return EventNews(
        title=event.title,
        at=event.starts_at.astimezone(zone),
        celsius=event.air_celsius,
        is_ready=None if found is None else found.as_it_is.is_ready,
        weakest=weakest,
        not_heard=tuple(stop_name(organ, s) for s in needed if not _was_heard(organ, s, heard)),
        is_faulty=any(fault.stop in needed for fault in faults),
    )


def stop_name(organ: Organ, stop_id: str) -> str:
    """``Oboe 8′ (Swell)``."""
    stop = organ.stop(stop_id)
    return f"{stop_words(organ, stop)} ({organ.division(stop.division).name})"


def _was_heard(organ: Organ, stop_id: str, heard: set[PipeRef]) -> bool:
    pipes = {pipe for key in organ.keys_of((stop_id,)) for pipe in organ.sounding((stop_id,), key)}
    return bool(pipes) and len(pipes & heard) >= _HEARD_SHARE * len(pipes)


def _rank_names(organ: Organ, pipes: list[PipeRef]) -> list[str]:
    """Names of the stops that pipes belong to, the one with the most pipes first."""
    names = {}
    for stop in reversed(organ.stops):
        for plays in stop.plays:
            names[plays.rank] = stop_name(organ, stop.id)
    counts = Counter(names.get(p.rank, organ.rank(p.rank).name) for p in pipes)
    return [name for name, _ in counts.most_common()]


def _faults(
    book: Book, organ: Organ, visit: KeptVisit, standing: list[KeptFault]
) -> tuple[FaultNews, ...]:
    cares = book.fault_cares(visit.organ_id)
    every = [fault for fault in book.faults(visit.organ_id) if fault.double_of is None]
    known = {stop.id for stop in organ.stops}
    found = []
    for fault in sorted(standing, key=lambda f: f.reported_at, reverse=True):
        same = [f for f in every if _same_place(f, fault)]
        care = cares.get(fault.id)
        found.append(
            FaultNews(
                kind=fault.kind,
                stop=stop_name(organ, fault.stop) if fault.stop in known else "",
                key=fault.key or "",
                times=len(same),
                since=min(f.reported_at for f in same).year,
                who="" if care is None else care.who,
                meanwhile="" if care is None else care.meanwhile,
            )
        )
    return tuple(found)


def _same_place(one: KeptFault, other: KeptFault) -> bool:
    if one.id in {other.id, other.again_of}:
        return True
    if one.pipe is not None and one.pipe == other.pipe:
        return True
    return one.key is not None and (one.stop, one.key) == (other.stop, other.key)


def _next_visit(book: Book, visit: KeptVisit, zone: tzinfo) -> NextVisitNews | None:
    next_visit = book.next_visit(visit.organ_id)
    if (
        next_visit is None
        or next_visit.arrives_at is None
        or next_visit.arrives_at <= visit.opened_at
    ):
        return None
    at: datetime = next_visit.arrives_at.astimezone(zone)
    return NextVisitNews(at, next_visit.hours, next_visit.reason)


def _visit_between(found: Readiness | None) -> tuple[date, date] | None:
    if found is None or found.as_it_is.is_ready or found.visit_from is None:
        return None
    return found.visit_from, found.visit_by


def _contact(book: Book, organ_id: int) -> str:
    from walkboard.book.venue.records import Role

    for contact in book.contacts(organ_id):
        if contact.role in {Role.TUNER, Role.BUILDER}:
            return f"{contact.name}, {contact.reach}" if contact.reach else contact.name
    return ""
