"""Builds the outlook: whether the organ will be ready for coming events; its ranks' drift."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from walkboard.languages.translation import Own
from walkboard.organ.model import Organ
from walkboard.planning.listen.readiness import READY_CHANCE, TOLERANCE_CENTS, Outcome, Readiness
from walkboard.sheets.drift_chart import DriftCourse
from walkboard.sheets.readiness_chart import CalendarChart, CalendarRow, Stand
from walkboard.sheets.values import Passage, SheetHead
from walkboard.sheets.wording import counted, day_words, listed, minutes, pitch_words

_MOST_STOPS = 5  # named of an event


@dataclass(frozen=True, slots=True)
class EventRow:
    """One event of the table; every field in words."""

    day: str
    title: str
    badness: str
    come: str
    short: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OutlookSheet(SheetHead):
    """The outlook on paper.

    Attributes
    ----------
    summary : tuple of Passage
    calendar : CalendarChart or None
        None where no event is coming.
    events : tuple of EventRow
    courses : tuple of DriftCourse
    courses_heading, courses_words : str
        Over the charts of the ranks.
    """

    summary: tuple[Passage, ...]
    calendar: CalendarChart | None
    events: tuple[EventRow, ...]
    courses: tuple[DriftCourse, ...]
    courses_heading: str
    courses_words: str


def outlook_sheet(
    organ: Organ,
    day: date,
    found: Sequence[Readiness],
    courses: Sequence[DriftCourse],
    *,
    visits: int,
    visit_minutes: float,
) -> OutlookSheet:
    """The outlook for an organ.

    Parameters
    ----------
    organ : Organ
    day : date
        Today.
    found : sequence of Readiness
        Readiness for the coming events, by date.
    courses : sequence of DriftCourse
    visits : int
        Number of visits the forecast is based on.
    visit_minutes : float
        Assumed minutes of a visit before each event.
    """
    return OutlookSheet(
        title=f"Outlook for {organ.name}, {day_words(day)}",
        heading=f"Outlook, {day_words(day)}",
        organ=Own(organ.name),
        day=day,
        strip=pitch_words(organ),
        summary=_summary(found, visits, visit_minutes),
        calendar=calendar_chart(day, found) if found else None,
        events=tuple(_event_row(organ, one) for one in found),
        courses=tuple(courses),
        courses_heading="The ranks over the visits",
        courses_words=(
            "All values are converted to the air named, which takes out the effect of the air. The "
            "grey band runs from visit to visit: nine pipes in ten were expected within it "
            "at the time. Zero is where the rank's pipes should be."
        ),
    )


def calendar_chart(today: date, found: Sequence[Readiness]) -> CalendarChart:
    """The coming events, ready to be drawn."""
    rows = tuple(
        CalendarRow(
            at=one.occasion.at,
            day=day_words(one.occasion.at),
            title=Own(one.occasion.title),
            stand=stand_of(one),
            ready_until=one.ready_until,
            visit_from=one.visit_from,
            visit_by=one.visit_by,
            stops=_ready(one.as_it_is),
            visited=_ready(one.visited),
        )
        for one in found
    )
    caption = " ".join(
        f"{row.title}, {row.day}: {row.stand.value}, {row.stops} stops, after a visit "
        f"{row.visited}."
        for row in rows
    )
    return CalendarChart(today, rows, "Along the calendar", caption)


def stand_of(one: Readiness) -> Stand:
    """Whether an event's stops are ready on its day."""
    if one.as_it_is.is_ready:
        return Stand.READY
    return Stand.AFTER_VISIT if one.visited.is_ready else Stand.NOT_READY


def _ready(outcome: Outcome) -> str:
    ready = sum(stop.chance >= READY_CHANCE for stop in outcome.stops)
    return f"{ready}/{len(outcome.stops)}"


def _summary(found: Sequence[Readiness], visits: int, visit_minutes: float) -> tuple[Passage, ...]:
    if not found:
        first = "No event is on the calendar."
    else:
        counts = {stand: sum(stand_of(one) is stand for one in found) for stand in Stand}
        counts_said = [f"{counts[stand]} {stand.value}" for stand in Stand if counts[stand]]
        first = f"Of {counted(len(found), 'coming event')}: {listed(counts_said)}."
    rests = (
        f"This is based on {counted(visits, 'visit')} and nothing heard since."
        if visits
        else "This organ has not been heard yet: the forecast is what is usual for such pipes."
    )
    meant = (
        f"A stop counts as ready if at most one in twenty of its pipes is more than "
        f"{TOLERANCE_CENTS:g} cents from its division's flues, with a chance of at least "
        f"{100.0 * READY_CHANCE:.0f} %."
    )
    visit = (
        f"The visit assumed here has {minutes(visit_minutes)}, takes place the day "
        "before and tunes by the forecast alone. Listening first does better."
    )
    return (
        Passage("In short", (first, rests)),
        Passage("How it is counted", (meant, visit) if found else (meant,)),
    )


def _event_row(organ: Organ, one: Readiness) -> EventRow:
    weak = sorted(
        (stop for stop in one.visited.stops if stop.chance < READY_CHANCE), key=lambda s: s.chance
    )
    if one.as_it_is.is_ready:
        come = "no need"
    elif one.visit_from is None:
        come = f"by {day_words(one.visit_by)}, and a longer visit"
    elif one.visit_from == one.visit_by:
        come = f"on {day_words(one.visit_by)}"
    else:
        come = f"{day_words(one.visit_from)} to {day_words(one.visit_by)}"
    return EventRow(
        day=day_words(one.occasion.at),
        title=Own(one.occasion.title),
        badness=f"{one.as_it_is.badness:.0f} → {one.visited.badness:.0f}",
        come=come,
        short=listed([_named(organ, stop.stop) for stop in weak], _MOST_STOPS) or "none",
    )


def _named(organ: Organ, stop_id: str) -> str:
    stop = organ.stop(stop_id)
    return f"{organ.division(stop.division).name} {stop.name}"
