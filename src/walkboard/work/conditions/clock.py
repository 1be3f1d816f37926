"""Questions about a logger's clock: readings in the future, summer time, an hour against others."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from walkboard.book.records import KeptVisit
from walkboard.book.venue.records import OUTDOORS, AirLog
from walkboard.work.pipe_offsets import latest_air

Numbers = NDArray[np.float64]

_MOST_LAG_H, _GRID_H = 3.0, 0.25
_LEAST_ALIKE = 0.6  # least correlation of two logs' rates for their lag to mean anything. Chosen.
_BETTER_BY = 0.15  # improvement over no lag. Chosen.
_AWAY_CELSIUS = 1.0  # difference from a visit's thermometer: 3 cents. Chosen.


def hours_of(log: AirLog, since: datetime) -> Numbers:
    """The times of a log's readings after an instant [h]."""
    offset = (log.starts_at - since).total_seconds() / 3600.0
    hours: Numbers = np.asarray(log.minutes) / 60.0 + offset
    return hours


def clock_questions(
    log: AirLog,
    others: Sequence[AirLog],
    visits: Sequence[KeptVisit],
    *,
    now: datetime,
    zone: tzinfo,
) -> tuple[str, ...]:
    """Doubts about a log's times, as questions to whoever set up the logger.

    Parameters
    ----------
    log : AirLog
    others : sequence of AirLog
        Other logs of the same organ.
    visits : sequence of KeptVisit
    now : datetime
    zone : tzinfo
        Time zone of the venue.
    """
    questions = []
    last = log.starts_at + timedelta(minutes=log.minutes[-1])
    if last > now + timedelta(minutes=10):
        hours = (last - now).total_seconds() / 3600.0
        questions.append(
            f"The last reading is {hours:.1f} h in the future: is the logger's clock fast?"
        )
    change = _clock_change(log.starts_at, last, zone)
    if change is not None:
        questions.append(
            f"The clocks changed on {change:%d %B %Y}, within this log: did the logger change its"
            " clock too?"
        )
    for other in others:
        lag = _lag_h(log, other)
        if lag is not None and abs(lag) >= 0.5:
            way = "later" if lag > 0.0 else "earlier"
            questions.append(
                f"It warms and cools {abs(lag):.2g} h {way} than the log of {other.place}: is one"
                " clock wrong?"
            )
    if log.place != OUTDOORS:
        questions += _against_visits(log, visits)
    return tuple(questions)


def _clock_change(first: datetime, last: datetime, zone: tzinfo) -> datetime | None:
    """The first day between two instants on which the zone's offset changes."""
    day = first
    while day < last:
        following = min(day + timedelta(days=1), last)
        if day.astimezone(zone).utcoffset() != following.astimezone(zone).utcoffset():
            return following.astimezone(zone)
        day = following
    return None


def _lag_h(log: AirLog, other: AirLog) -> float | None:
    """Lag of one log behind another [h]; None if they are too different to say."""
    if OUTDOORS in (other.place, log.place):
        return None  # walls delay the weather by hours
    first, second = hours_of(log, log.starts_at), hours_of(other, log.starts_at)
    start = max(first[0], second[0]) + _MOST_LAG_H
    stop = min(first[-1], second[-1]) - _MOST_LAG_H
    if stop - start < 24.0:
        return None
    grid = np.arange(start, stop, _GRID_H)
    rate = np.diff(np.interp(grid, first, log.celsius))
    lags = np.arange(-_MOST_LAG_H, _MOST_LAG_H + 0.01, _GRID_H)
    alike = [_alike(rate, np.diff(np.interp(grid - lag, second, other.celsius))) for lag in lags]
    best = int(np.argmax(alike))
    without = alike[int(np.argmin(np.abs(lags)))]
    if alike[best] < _LEAST_ALIKE or alike[best] < without + _BETTER_BY:
        return 0.0 if without >= _LEAST_ALIKE else None
    return float(lags[best])


def _alike(one: Numbers, other: Numbers) -> float:
    if one.std() == 0.0 or other.std() == 0.0:
        return 0.0
    return float(np.corrcoef(one, other)[0, 1])


def _against_visits(log: AirLog, visits: Sequence[KeptVisit]) -> list[str]:
    hours = hours_of(log, log.starts_at)
    for visit in visits:
        at = (visit.opened_at - log.starts_at).total_seconds() / 3600.0
        thermometer = latest_air(visit).celsius.get(log.place)
        if thermometer is None or not hours[0] <= at <= hours[-1]:
            continue
        logged = float(np.interp(at, hours, log.celsius))
        if abs(logged - thermometer) > _AWAY_CELSIUS:
            day = f"{visit.opened_at:%d %B %Y}"
            both = f"the thermometer said {thermometer:.1f} °C and the log {logged:.1f} °C"
            return [f"At the visit of {day} {both}: were both near the pipes?"]
    return []
