"""The course of a rank over a book's visits, ready to be drawn."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np

from walkboard.condition.drift import Forecast
from walkboard.sheets.drift_chart import Band, DriftCourse
from walkboard.work.foreseeing import Followed, outlook

_EVERY_DAYS = 30


def drift_course(seen: Followed, rank_id: str, until: date, celsius: float) -> DriftCourse:
    """What was heard of a rank at each visit, and its forecast up to a day.

    Parameters
    ----------
    seen : Followed
    rank_id : str
    until : date
    celsius : float
        Air of the forecast [°C].
    """
    organ = seen.drift.organ
    rank = organ.rank(rank_id)
    heard = []
    for visit in seen.visits:
        cents = [p.cents for p in visit.heard if p.pipe.rank == rank_id]
        if cents:
            heard.append(_band(visit.at, np.quantile(cents, [0.05, 0.5, 0.95])))
    expected = []
    if seen.visits:
        start = seen.visits[-1].at
        days = [*range(1, max(2, (until - start).days), _EVERY_DAYS), max(1, (until - start).days)]
        air = {d.id: celsius for d in organ.divisions}
        for day in days:
            on = start + timedelta(days=day)
            expected.append(_middle_pipe(outlook(seen, on, air), rank_id, on))
    return DriftCourse(f"{rank.name} ({rank_id})", tuple(heard), tuple(expected))


def _middle_pipe(there: Forecast, rank_id: str, on: date) -> Band:
    own = np.array([pipe.rank == rank_id for pipe in there.pipes])
    parts = there.parts.chosen(own)
    return _band(on, np.array([np.median(parts.quantile(q)) for q in (0.05, 0.5, 0.95)]))


def _band(on: date, cents: np.ndarray) -> Band:
    return Band(on, float(cents[0]), float(cents[1]), float(cents[2]))
