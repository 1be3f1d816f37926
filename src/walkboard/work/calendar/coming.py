"""Readiness for the next events, calculated outside the pages: it plans a visit for each."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from walkboard.book.records import KeptEvent

if TYPE_CHECKING:
    from walkboard.planning.listen.readiness import Outcome, Readiness

MOST_EVENTS = 12


@dataclass(frozen=True, slots=True)
class ComingEvent:
    """The organ's state at one event; see `walkboard.planning.listen.readiness.Readiness`.

    Attributes
    ----------
    event_id : int
        Id of the event as it was when this was calculated.
    at : date
    is_ready, is_ready_after_visit : bool
    lowest_chance, lowest_chance_after_visit : float
        Chance of the least certain stop.
    weakest : str
        Id of that stop, without a visit.
    badness, badness_after_visit : float
    ready_until, visit_from : date or None
    visit_by : date
    """

    event_id: int
    at: date
    is_ready: bool
    is_ready_after_visit: bool
    lowest_chance: float
    lowest_chance_after_visit: float
    weakest: str
    badness: float
    badness_after_visit: float
    ready_until: date | None
    visit_from: date | None
    visit_by: date


def coming_events(
    progress: Callable[[float, float], None], folder: Path, organ_id: int, today: date
) -> tuple[ComingEvent, ...]:
    """Readiness for an organ's next `MOST_EVENTS` events; opens the book itself.

    Parameters
    ----------
    progress : callable
        Called with the events done and the total.
    folder : Path
        The book's folder.
    organ_id : int
    today : date
    """
    from walkboard.organ.reading import read_organ
    from walkboard.planning.listen.readiness import readiness_of
    from walkboard.work import open_book, outlook
    from walkboard.work.plan_request import changes_of

    with open_book.opened(folder) as book:
        kept = book.organ(organ_id)
        organ = read_organ(kept.description, where=kept.name)
        events = next_events(book.events(organ_id), today)
        progress(0, len(events) + 1)
        seen = outlook.followed(book, kept, organ)
        changes = changes_of(book, organ_id)
        lengths = [v.minutes for v in book.visits(organ_id) if v.minutes is not None]
    minutes = lengths[-1] if lengths else outlook.USUAL_MINUTES
    found = []
    for number, event in enumerate(events, start=1):
        progress(number, len(events) + 1)
        occasion = outlook.occasion_of(organ, event)
        there = readiness_of(seen.drift, seen.learned, occasion, today, minutes, changes=changes)
        found.append(_coming(event, there))
    return tuple(found)


def next_events(events: tuple[KeptEvent, ...], today: date) -> list[KeptEvent]:
    """The events that readiness is calculated for: the next ones not cancelled."""
    coming = [e for e in events if not e.cancelled and e.starts_at.date() >= today]
    return sorted(coming, key=lambda e: (e.starts_at, e.id))[:MOST_EVENTS]


def _coming(event: KeptEvent, found: Readiness) -> ComingEvent:
    now, after = found.as_it_is, found.visited
    chance, weakest = _weakest(now)
    return ComingEvent(
        event_id=event.id,
        at=found.occasion.at,
        is_ready=now.is_ready,
        is_ready_after_visit=after.is_ready,
        lowest_chance=chance,
        lowest_chance_after_visit=_weakest(after)[0],
        weakest=weakest,
        badness=now.badness,
        badness_after_visit=after.badness,
        ready_until=found.ready_until,
        visit_from=found.visit_from,
        visit_by=found.visit_by,
    )


def _weakest(outcome: Outcome) -> tuple[float, str]:
    return min(((stop.chance, stop.stop) for stop in outcome.stops), default=(1.0, ""))
