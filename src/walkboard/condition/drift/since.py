"""Sentences about what has moved since the last visit beyond what time and air explain.

Readings are compared with the forecast made before them. A shift of all divisions is a thermometer,
a tuner's pitch, or the whole organ; a shift of one division has its own cause (dust, wind, another
air than noted); a shift of one rank means that it was worked on.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.condition.drift.forecast import Forecast
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ

__all__ = ["LIMITS", "Limits", "moved_since"]


@dataclass(frozen=True, slots=True)
class Limits:
    """When movement is reported.

    Attributes
    ----------
    whole_cents, division_cents, rank_cents : float
        Least movement of everything, of a division's flues, of one rank [cents].
    sigmas : float
        And at least so many standard deviations of the forecast.
    fewest_pipes : int
        Least number heard of a rank, so that its middle is known.
    fewest_ranks : int
        Fewest ranks of a division, so that its movement is not that of one rank.
    """

    whole_cents: float = 3.0  # chosen: about a degree of air
    division_cents: float = 4.0  # chosen: as far apart as coupled divisions may be
    rank_cents: float = 4.0  # chosen
    sigmas: float = 3.0  # chosen
    fewest_pipes: int = 5  # chosen
    fewest_ranks: int = 2  # chosen


LIMITS = Limits()


def moved_since(
    organ: Organ, forecast: Forecast, heard: Sequence[PipeCents], since: str
) -> tuple[str, ...]:
    """What has moved, the whole organ first.

    Parameters
    ----------
    organ : Organ
    forecast : Forecast
        Forecast for the day and air of the readings, made before them.
    heard : sequence of PipeCents
    since : str
        The last visit, as ``May 2026``.
    """
    index = forecast.index
    places = np.array([index[p.pipe] for p in heard if p.pipe in index], dtype=np.int64)
    if not len(places):
        return ()
    cents = np.array([p.cents for p in heard if p.pipe in index])
    off = cents - forecast.parts.quantile(0.5)[places]
    ranks = {rank.id: n for n, rank in enumerate(organ.ranks)}
    of_rank = np.array([ranks[forecast.pipes[n].rank] for n in places])
    middle: dict[int, float] = {}
    for rank in np.unique(of_rank):
        own = off[of_rank == rank]
        if len(own) >= LIMITS.fewest_pipes:
            middle[int(rank)] = float(np.median(own))
    first = {int(r): int(places[of_rank == r][0]) for r in np.unique(of_rank)}
    division = {
        d.id: [
            middle[n]
            for n in middle
            if organ.ranks[n].division == d.id and organ.ranks[n].family.is_flue
        ]
        for d in organ.divisions
    }
    shift = {
        id_: float(np.median(found))
        for id_, found in division.items()
        if len(found) >= LIMITS.fewest_ranks
    }
    return (
        *_whole(forecast, shift, since),
        *_divisions(organ, forecast, shift, first, since),
        *_ranks(organ, forecast, middle=middle, shift=shift, first=first, since=since),
    )


def _whole(forecast: Forecast, shift: Mapping[str, float], since: str) -> list[str]:
    if len(shift) < LIMITS.fewest_ranks:
        return []
    common = _common(shift)
    expected = float(np.median(np.hypot(forecast.reading_cents, forecast.division_cents)))
    if abs(common) < max(LIMITS.whole_cents, LIMITS.sigmas * expected):
        return []
    way = "above" if common > 0.0 else "below"
    sentence = (
        f"Everything reads {abs(common):.0f} cents {way} what the air explains: another"
        f" thermometer, another tuner, or another pitch since {since}?"
    )
    return [sentence]


def _divisions(
    organ: Organ,
    forecast: Forecast,
    shift: Mapping[str, float],
    first: Mapping[int, int],
    since: str,
) -> list[str]:
    common = _common(shift) if len(shift) >= LIMITS.fewest_ranks else 0.0
    found = []
    for id_, moved in shift.items():
        alone = moved - common
        places = [at for n, at in first.items() if organ.ranks[n].division == id_]
        expected = float(np.median(forecast.division_cents[places]))
        if abs(alone) >= max(LIMITS.division_cents, LIMITS.sigmas * expected):
            way = "risen" if alone > 0.0 else "fallen"
            name = organ.division(id_).name
            found.append(f"The whole {name} has {way} by {abs(alone):.0f} cents since {since}.")
    return found


def _ranks(
    organ: Organ,
    forecast: Forecast,
    *,
    middle: Mapping[int, float],
    shift: Mapping[str, float],
    first: Mapping[int, int],
    since: str,
) -> list[str]:
    found = []
    for number, moved in middle.items():
        rank = organ.ranks[number]
        if rank.family.is_flue and rank.division not in shift:
            continue
        alone = moved - shift.get(rank.division, 0.0)
        expected = float(forecast.shared_cents[first[number]])
        if abs(alone) >= max(LIMITS.rank_cents, LIMITS.sigmas * expected):
            way = "sharper" if alone > 0.0 else "flatter"
            found.append(
                f"The {rank.name} ({organ.division(rank.division).name}) stands"
                f" {abs(alone):.0f} cents {way} than it was left: it has been changed since"
                f" {since}."
            )
    return found


def _common(shift: Mapping[str, float]) -> float:
    """The common movement of all divisions: that of the one that moved least."""
    values = np.array(list(shift.values()))
    if np.all(values > 0.0) or np.all(values < 0.0):
        return float(values[np.argmin(np.abs(values))])
    return 0.0
