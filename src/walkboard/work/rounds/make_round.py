"""The round itself: the firm's file and the book's forecasts as arrays, and the visits back."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from walkboard.book.keeping import Book
from walkboard.errors import InputError
from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.rounds.benefit import benefit_of
from walkboard.planning.rounds.kinds import Firm, Prices, Round, Stop
from walkboard.planning.rounds.solve import solve_round
from walkboard.planning.rounds.travel import Town, one_way_hours
from walkboard.work.rounds.firm_file import Days, FirmFile, OrganTable
from walkboard.work.rounds.forecasts import OrganForecast, forecast_organ

MOST_WEEKS = 104


@dataclass(frozen=True, slots=True)
class VisitLine:
    """One visit of the round, in words.

    Attributes
    ----------
    organ, town, tuner : str
    monday : date
        Of its week.
    hours : float
        At the organ.
    gain : float
        Readiness that it brings, summed over the events it serves.
    serves : tuple of str
        Titles of the events that it helps by at least `LEAST_HELP`, in order.
    moved_from : str
        Where the round before had it, or empty.
    """

    organ: str
    town: str
    tuner: str
    monday: date
    hours: float
    gain: float
    serves: tuple[str, ...]
    moved_from: str = ""


LEAST_HELP = 0.02  # readiness; an event that gains less is not worth naming. Chosen.


@dataclass(frozen=True, slots=True)
class MadeRound:
    """A round with names and dates.

    Attributes
    ----------
    start : date
        The Monday of the first week.
    weeks : int
    visits : tuple of VisitLine
        By week, tuner, town, organ.
    not_visited : tuple of str
        Organs that the round leaves out.
    without_calendar : tuple of str
        Organs for which a service every four weeks was assumed.
    moved : int
        Visits of the round before that did not stay.
    benefit, driving_hours, worth, bound, gap : float
        As in `walkboard.planning.rounds.kinds.Round`.
    hours_left : mapping of tuner to tuple of float
        Hours that each week still has.
    """

    start: date
    weeks: int
    visits: tuple[VisitLine, ...]
    not_visited: tuple[str, ...]
    without_calendar: tuple[str, ...]
    moved: int
    benefit: float
    driving_hours: float
    worth: float
    bound: float
    gap: float
    hours_left: dict[str, tuple[float, ...]]


def monday_of(day: date) -> date:
    """The Monday of a day's week."""
    return day - timedelta(days=day.weekday())


def first_monday(day: date | None, today: date) -> date:
    """The Monday that a round starts on: of a day's week, or of next week."""
    return monday_of(today) + timedelta(weeks=1) if day is None else monday_of(day)


def forecasts_for(
    book: Book,
    firm: FirmFile,
    start: date,
    weeks: int,
    progress: Callable[[int, int], None] = lambda *_: None,
) -> tuple[OrganForecast, ...]:
    """The forecast of every organ of the firm.

    Parameters
    ----------
    progress : callable
        Given organs done and organs in all.

    Raises
    ------
    InputError
        If the book has no such organ, or the weeks are not 1 to `MOST_WEEKS`.
    """
    if not 1 <= weeks <= MOST_WEEKS:
        raise InputError(f"A round of {weeks} weeks is not possible.", fix=f"1 to {MOST_WEEKS}.")
    known = {kept.name: kept for kept in book.organs()}
    found = []
    for n, organ in enumerate(firm.organ):
        if organ.name not in known:
            raise InputError(
                f"The book has no organ {organ.name!r}.",
                fix="Correct the firm's file, or add the organ to the book.",
            )
        progress(n, len(firm.organ))
        found.append(forecast_organ(book, known[organ.name], start, weeks))
    progress(len(firm.organ), len(firm.organ))
    return tuple(found)


def make_round(
    firm: FirmFile,
    forecasts: Sequence[OrganForecast],
    start: date,
    weeks: int,
    *,
    before: Sequence[VisitLine] = (),
    prices: Prices | None = None,
    polish_s: float = 0.0,
    progress: Callable[[str], None] = lambda _: None,
) -> MadeRound:
    """Choose the visits.

    Parameters
    ----------
    firm : FirmFile
    forecasts : sequence of OrganForecast
        Of the firm's organs, in their order.
    start : date
        A Monday.
    weeks : int
    before : sequence of VisitLine
        The previous round; what it says about weeks before the start, or organs and tuners no
        longer there, is passed over.
    prices : Prices or None
    polish_s : float
        Seconds for the exact solver.

    Raises
    ------
    InputError
        If the exact solver was asked for and is not installed.
    """
    arrays = arrays_of(firm, forecasts, start, weeks)
    earlier = _stops_before(firm, before, start, weeks)
    found = solve_round(arrays, prices, before=earlier, polish_s=polish_s, progress=progress)
    return _Words(firm, arrays, forecasts, start, earlier).made(found)


def arrays_of(firm: FirmFile, forecasts: Sequence[OrganForecast], start: date, weeks: int) -> Firm:
    """The firm as the solver takes it."""
    towns = {t.name: n for n, t in enumerate(firm.town)}
    places = [Town(t.name, t.latitude, t.longitude) for t in firm.town]
    typed = {frozenset(d.between): d.minutes for d in firm.driving}
    holders = {k.name: n for n, k in enumerate(firm.key_holder)}
    whole = _share_of_weeks(firm.closed, start, weeks)
    capacity = np.array(
        [
            t.hours_a_week * np.minimum(whole, _share_of_weeks(t.off, start, weeks))
            for t in firm.tuner
        ]
    ).T
    held = np.array(
        [k.hours_a_week * _share_of_weeks(k.off, start, weeks) for k in firm.key_holder]
    ).reshape(len(firm.key_holder), weeks)
    allowed = np.array([_allowed(firm, organ, start, weeks) for organ in firm.organ])
    benefit = tuple(
        benefit_of(
            [replace(e, weight=e.weight * organ.weight) for e in known.events], known.curve, weeks
        )
        for organ, known in zip(firm.organ, forecasts, strict=True)
    )
    return Firm(
        benefit=benefit,
        hours=np.array(
            [
                known.hours if organ.hours is None else organ.hours
                for organ, known in zip(firm.organ, forecasts, strict=True)
            ]
        ),
        most_visits=np.array([organ.most_visits for organ in firm.organ]),
        allowed=allowed,
        capacity_hours=capacity,
        town=np.array([towns[organ.town] for organ in firm.organ]),
        driving_hours=np.array(
            [
                [2.0 * one_way_hours(places[towns[t.home]], place, typed) for place in places]
                for t in firm.tuner
            ]
        ),
        key_holder=np.array([holders.get(organ.key_holder, -1) for organ in firm.organ]),
        key_holder_hours=held,
    )


_WORKING_DAYS = 5  # Monday to Friday


def _share_of_weeks(off: Iterable[Days], start: date, weeks: int) -> FloatArray:
    """Share of each week's working days that is not off."""
    found = np.ones(weeks)
    spans = list(off)
    for week in range(weeks):
        days = [start + timedelta(weeks=week, days=n) for n in range(_WORKING_DAYS)]
        away = sum(any(span.first <= day <= span.last for span in spans) for day in days)
        found[week] = 1.0 - away / _WORKING_DAYS
    return found


def _allowed(firm: FirmFile, organ: OrganTable, start: date, weeks: int) -> BoolArray:
    """(weeks, tuners): whether this organ can be visited then, by that tuner."""
    found = np.ones((weeks, len(firm.tuner)), dtype=bool)
    for week in range(weeks):
        days = [start + timedelta(weeks=week, days=n) for n in range(_WORKING_DAYS)]
        open_days = [
            day
            for day in days
            if (organ.not_before is None or day >= organ.not_before)
            and (organ.not_after is None or day <= organ.not_after)
            and not any(span.first <= day <= span.last for span in organ.closed)
        ]
        found[week] = bool(open_days)
    if organ.tuners:
        found &= np.array([tuner.name in organ.tuners for tuner in firm.tuner])
    return found


def _stops_before(
    firm: FirmFile, before: Sequence[VisitLine], start: date, weeks: int
) -> tuple[Stop, ...]:
    organs = {organ.name: n for n, organ in enumerate(firm.organ)}
    tuners = {tuner.name: n for n, tuner in enumerate(firm.tuner)}
    found = set()
    for line in before:
        week = (line.monday - start).days // 7
        if line.organ in organs and line.tuner in tuners and 0 <= week < weeks:
            found.add(Stop(organs[line.organ], week, tuners[line.tuner]))
    return tuple(sorted(found))


@dataclass(frozen=True)
class _Words:
    """Names and dates for what the solver counts."""

    firm: FirmFile
    arrays: Firm
    forecasts: Sequence[OrganForecast]
    start: date
    before: tuple[Stop, ...]

    def made(self, found: Round) -> MadeRound:
        firm, arrays = self.firm, self.arrays
        left = arrays.capacity_hours.copy()
        for town, week, tuner in {
            (int(arrays.town[s.organ]), s.week, s.tuner) for s in found.stops
        }:
            left[week, tuner] -= arrays.driving_hours[tuner, town]
        for stop in found.stops:
            left[stop.week, stop.tuner] -= arrays.hours[stop.organ]
        lines = [self.line(stop, found.stops) for stop in found.stops]
        lines.sort(key=lambda line: (line.monday, line.tuner, line.town, line.organ))
        visited = {stop.organ for stop in found.stops}
        return MadeRound(
            start=self.start,
            weeks=arrays.shape[1],
            visits=tuple(lines),
            not_visited=tuple(o.name for n, o in enumerate(firm.organ) if n not in visited),
            without_calendar=tuple(f.organ.name for f in self.forecasts if not f.has_calendar),
            moved=found.moved,
            benefit=found.benefit,
            driving_hours=found.driving_hours,
            worth=found.worth,
            bound=found.bound,
            gap=found.gap,
            hours_left={
                tuner.name: tuple(max(0.0, float(h)) for h in left[:, n])
                for n, tuner in enumerate(firm.tuner)
            },
        )

    def line(self, stop: Stop, stops: Sequence[Stop]) -> VisitLine:
        organ, benefit = self.firm.organ[stop.organ], self.arrays.benefit[stop.organ]
        others = [s.week for s in stops if s.organ == stop.organ and s.week != stop.week]
        without = benefit[:, others].max(axis=1) if others else np.zeros(len(benefit))
        brings = np.maximum(0.0, benefit[:, stop.week] - without)
        titles = self.forecasts[stop.organ].titles
        moved = ""
        if stop not in self.before:
            old = [s for s in self.before if s.organ == stop.organ and s not in stops]
            if old:
                monday = self.start + timedelta(weeks=old[0].week)
                moved = f"{monday.isoformat()}, {self.firm.tuner[old[0].tuner].name}"
        return VisitLine(
            organ=organ.name,
            town=organ.town,
            tuner=self.firm.tuner[stop.tuner].name,
            monday=self.start + timedelta(weeks=stop.week),
            hours=float(self.arrays.hours[stop.organ]),
            gain=float(brings.sum()),
            serves=tuple(titles[n] for n in np.flatnonzero(brings >= LEAST_HELP)),
            moved_from=moved,
        )
