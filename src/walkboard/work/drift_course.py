"""The course of ranks over a book's visits, ready to be drawn."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.forecast import Forecast, forecast
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.condition.mixtures import NormalParts
from walkboard.condition.shift import air_cents
from walkboard.planning.listen.foreseen import condition_of
from walkboard.planning.listen.readiness import TOLERANCE_CENTS
from walkboard.sheets.drift_chart import Band, DriftCourse
from walkboard.sheets.wording import celsius as celsius_words
from walkboard.sheets.wording import counted, day_words, rank_words, signed
from walkboard.work.outlook import Followed

BoolArray = NDArray[np.bool_]

_POINTS = 4  # of the forecast between two visits
_AHEAD_POINTS = 8
_MOST_VISITS = 16  # the last ones are drawn
_SHARES = (0.05, 0.5, 0.95)


def drift_courses(
    seen: Followed, ranks: Sequence[str], until: date, celsius: float
) -> tuple[DriftCourse, ...]:
    """What was heard of ranks at each visit, and what was and is expected.

    Parameters
    ----------
    seen : Followed
    ranks : sequence of str
        Their ids.
    until : date
        Last day of the forecast.
    celsius : float
        Air that all values are converted to, by how much each rank was seen to follow the air [°C].
    """
    organ = seen.drift.organ
    drift = OrganDrift(organ, seen.learned.habits, seen.learned.common)
    air = {d.id: celsius for d in organ.divisions}
    runs: list[list[Forecast]] = []
    shown = seen.visits[-_MOST_VISITS:]
    for visit, seen_figures in zip(seen.visits, figures(organ, seen.visits), strict=True):
        drift.take_in(seen_figures)
        if visit in shown:
            at = shown.index(visit)
            last = at == len(shown) - 1
            end = max(until, visit.at + timedelta(days=1)) if last else shown[at + 1].at
            days = _spread(visit.at, end, _AHEAD_POINTS if last else _POINTS)
            runs.append([forecast(drift, day, air, seen.learned) for day in days])
    return tuple(_course(seen, shown, runs, rank, celsius) for rank in ranks)


def least_sure_ranks(seen: Followed, at: date, celsius: float, most: int) -> tuple[str, ...]:
    """Ranks expected to have the most pipes out of tolerance on a day, in organ order."""
    organ = seen.drift.organ
    there = forecast(seen.drift, at, {d.id: celsius for d in organ.divisions}, seen.learned)
    shifts = {
        d.division: d.shift_cents or 0.0 for d in condition_of(organ, there).divisions.values()
    }
    own = np.array([shifts[organ.rank(pipe.rank).division] for pipe in there.pipes])
    out = 1.0 - there.parts.within(own - TOLERANCE_CENTS, own + TOLERANCE_CENTS)
    counts = dict.fromkeys((rank.id for rank in organ.ranks), 0.0)
    for pipe, chance in zip(there.pipes, out, strict=True):
        counts[pipe.rank] += float(chance)
    chosen = sorted(counts, key=lambda rank: -counts[rank])[:most]
    return tuple(rank for rank in counts if rank in chosen)


def _course(
    seen: Followed,
    shown: Sequence[PastVisit],
    runs: Sequence[Sequence[Forecast]],
    rank_id: str,
    celsius: float,
) -> DriftCourse:
    organ = seen.drift.organ
    rank = organ.rank(rank_id)
    follows, _ = seen.drift.ranks[organ.ranks.index(rank)].follows()
    expected = tuple(tuple(_nine_in_ten(there, rank_id) for there in run) for run in runs)
    heard, held = [], []
    for number, visit in enumerate(shown):
        cents = np.array(
            [
                p.cents + follows * air_cents(p.air_celsius, celsius)
                for p in visit.heard
                if p.pipe.rank == rank_id
            ]
        )
        if len(cents):
            low, middle, high = np.quantile(cents, _SHARES)
            heard.append(Band(visit.at, float(low), float(middle), float(high)))
            if number:
                before = expected[number - 1][-1]
                held.append((cents >= before.low_cents) & (cents <= before.high_cents))
    inside = np.concatenate(held) if held else np.zeros(0, dtype=np.bool_)
    return DriftCourse(
        rank_words(organ, rank),
        tuple(heard),
        expected,
        celsius,
        _words(inside, expected, celsius),
    )


def _words(inside: BoolArray, expected: Sequence[Sequence[Band]], celsius: float) -> str:
    """What the chart shows: how well the grey band held, and what it says about the last day."""
    notes = [f"At {celsius_words(celsius)}."]
    if len(inside):
        share = 100.0 * float(inside.mean())
        notes.append(
            f"Of {counted(len(inside), 'reading')}, {share:.0f} % were within the grey band as "
            "forecast; the aim is 90 %."
        )
    if expected:
        last = expected[-1][-1]
        notes.append(
            f"On {day_words(last.on)} nine pipes in ten are expected between "
            f"{signed(last.low_cents)} and {signed(last.high_cents)} cents."
        )
    return " ".join(notes)


def _spread(first: date, last: date, points: int) -> list[date]:
    """Days from one to another, both among them, as evenly as days are."""
    days = (last - first).days
    return list(
        dict.fromkeys(first + timedelta(days=round(days * n / points)) for n in range(points + 1))
    )


def _nine_in_ten(there: Forecast, rank_id: str) -> Band:
    """Where nine readings in ten of a rank are expected: its pipes taken together."""
    own = np.array([pipe.rank == rank_id for pipe in there.pipes])
    parts = there.of_readings().chosen(own)
    crowd = NormalParts(
        parts.weights.reshape(1, -1) / own.sum(),
        parts.means.reshape(1, -1),
        parts.sigmas.reshape(1, -1),
    )
    low, middle, high = (float(crowd.quantile(share)[0]) for share in _SHARES)
    return Band(there.at, low, middle, high)
