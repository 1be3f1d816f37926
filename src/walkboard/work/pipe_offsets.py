"""Each pipe's present deviation, from a visit's readings and ticks. Light to import."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from walkboard.book.records import KeptReading, KeptVisit, Tick, TickState
from walkboard.condition.gather import pipe_cents_of
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ
from walkboard.sheets.values import VisitFacts

if TYPE_CHECKING:
    from walkboard.book.keeping import Book


@dataclass(frozen=True, slots=True)
class Air:
    """The last conditions noted for each division at a visit."""

    celsius: Mapping[str, float]
    humidity: float | None
    wind_mm: Mapping[str, float]


def latest_air(visit: KeptVisit) -> Air:
    """What was last noted for each division."""
    celsius: dict[str, float] = {}
    wind_mm: dict[str, float] = {}
    humidity: float | None = None
    for noted in visit.conditions:
        celsius.update(noted.air_celsius)
        wind_mm.update(noted.wind_mm)
        humidity = noted.humidity if noted.humidity is not None else humidity
    return Air(celsius, humidity, wind_mm)


def visit_facts(book: Book, visit: KeptVisit) -> VisitFacts:
    """What sheets and charts show about a visit as a whole."""
    air = latest_air(visit)
    plan = book.current_plan(visit.id)
    return VisitFacts(
        day=visit.opened_at.astimezone().date(),
        purpose=visit.purpose,
        air_celsius=air.celsius,
        humidity=air.humidity,
        wind_mm=air.wind_mm,
        event_air_celsius=None if plan is None else plan.event_air_celsius,
        minutes=visit.minutes,
        closing_note=visit.closing_note,
    )


def pipe_cents_of_visit(book: Book, organ: Organ, visit: KeptVisit) -> tuple[PipeCents, ...]:
    """Each pipe's present deviation, as far as the visit's recordings show.

    A pipe tuned after its last recording is left out: its pitch is unknown since.
    """
    airs = book.recording_airs(visit.id)
    clocks = book.recording_clocks(visit.id)
    ticked = book.pipe_states(visit.id)
    usable = []
    for pipe, kept in book.best_readings(visit.id).items():
        if tuned_since(kept, ticked.get(pipe)):
            continue
        stated = airs[kept.recording_id]
        air = organ.pitch.at_celsius if stated is None else stated
        found = pipe_cents_of(kept.reading, air, clocks[kept.recording_id])
        if found is not None:
            usable.append(found)
    order = {rank.id: index for index, rank in enumerate(organ.ranks)}
    return tuple(sorted(usable, key=lambda p: (order[p.pipe.rank], p.pipe.number)))


def tuned_since(kept: KeptReading, ticked: Tick | None) -> bool:
    """Whether a pipe was ticked as done after it was last heard."""
    return (
        ticked is not None
        and ticked.state == TickState.DONE
        and (kept.sounded_at is None or kept.sounded_at <= ticked.at)
    )
