"""Pipes that sound along the walk but were not stated.

A line that no stated pipe explains says little; three of them at multiples of one fundamental near
where a rank of the organ is expected are a pipe; and the same rank at every fourth key is a drawn
stop, or a coupler.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.listening.evidence.lines import Series, best_series
from walkboard.survey.recognise.evidence import Evidence
from walkboard.survey.recognise.limits import LIMITS

_HIGHEST_HZ = 6_500.0
_LEAST_HOLDS = 4
_MOST_FOUND = 3
_SAME_PIPE_CENTS = 1.0  # an octave coupler plays the same pipe as the other key
_SAME_PIPE_SHARE = 0.7
_MOVED_WORTH = 1.5  # what partials moved by another pipe count for, in lines


@dataclass(frozen=True, slots=True)
class Companion:
    """An unstated comb along the walk.

    Attributes
    ----------
    name : str
        Name of the hypothesis.
    holds : int
        Number of holds in which it was found.
    of_holds : int
        Number of holds in which it could have been found.
    series : mapping of hold to Series
        Where it was found, by the hold's index in the evidence.
    """

    name: str
    holds: int
    of_holds: int
    series: Mapping[int, Series]

    @property
    def share(self) -> float:
        """Share of the holds in which it was found."""
        return self.holds / self.of_holds if self.of_holds else 0.0


def find_companions(
    evidence: Sequence[Evidence],
    due_hz: Mapping[str, Sequence[float | None]],
    least_share: float,
) -> list[Companion]:
    """Unstated combs heard in enough of the holds, clearest first.

    Parameters
    ----------
    evidence : sequence of Evidence
    due_hz : mapping of name to sequence of float or None
        For each hypothesis, where its fundamental is expected in each hold at the walk's own pitch;
        None if it has no pipe there.
    least_share : float
        Least share of the holds in which it could be heard.
    """
    free = [np.ones(len(one.left), bool) for one in evidence]
    found: list[Companion] = []
    left = dict(due_hz)
    while left and len(found) < _MOST_FOUND:
        tried = [_follow(name, evidence, places, free) for name, places in left.items()]
        scores = [
            sum(_worth(series) for series in one.series.values()) if one.holds else 0.0
            for one in tried
        ]
        at = int(np.argmax(scores))
        best = tried[at]
        if best.holds < _LEAST_HOLDS or best.share < least_share:
            break
        found.append(best)
        del left[best.name]
        for hold, series in best.series.items():
            _take(evidence[hold], series, free[hold])
    return found


def _follow(
    name: str,
    evidence: Sequence[Evidence],
    places: Sequence[float | None],
    free: Sequence[NDArray[np.bool_]],
) -> Companion:
    met: dict[int, Series] = {}
    able = 0
    for number, (one, place, mine) in enumerate(zip(evidence, places, free, strict=True)):
        if place is None:
            continue
        needed = min(LIMITS.least_lines, int(_HIGHEST_HZ / place))
        if needed < 2:
            continue
        able += 1
        series = series_in(one, place, mine)
        if (
            series is not None
            and len(series.numbers) >= needed
            and series.score >= 0.5 * needed
            and _is_loud_enough(one, series, mine)
        ):
            met[number] = series
        elif one.disagrees in {2, 3} and _multiple(place, one.stated_hz[0]) == one.disagrees:
            # Too close to the stated partials to be resolved, but it moves them.
            met[number] = Series(place, np.zeros(0, np.int64), np.zeros(0, np.int64), 0.0)
    return Companion(name, len(met), able, met)


def _is_loud_enough(one: Evidence, series: Series, free: NDArray[np.bool_]) -> bool:
    """Whether a series can be a drawn stop: its strongest line against the loudest of the hold."""
    strongest_db = one.lines.level_db[one.left[free][series.lines]].max()
    return bool(strongest_db > one.lines.level_db.max() - LIMITS.also_faintest_db)


def _worth(series: Series) -> float:
    """How strongly a series supports its own pitch: weakly if only every second line is there."""
    if len(series.numbers) == 0:
        return _MOVED_WORTH
    if np.gcd.reduce(series.numbers) > 1:
        return 0.4 * series.score
    return series.score


def _multiple(place_hz: float, stated_hz: float | None) -> int | None:
    """The stated comb's partial near a frequency, if any."""
    if stated_hz is None:
        return None
    number = round(place_hz / stated_hz)
    near = number > 0 and abs(1731.0 * (place_hz / (number * stated_hz) - 1.0)) < 60.0
    return number if near else None


def series_in(
    one: Evidence, place_hz: float, free: NDArray[np.bool_] | None = None
) -> Series | None:
    """The series near a frequency among the lines of a hold that nothing stated explains."""
    left = one.left if free is None else one.left[free]
    if len(left) == 0:
        return None
    return best_series(
        one.lines.hz[left],
        place_hz,
        LIMITS.reach_cents,
        one.lines.seconds,
        excused_hz=one.lines.hz[one.explained],
    )


def _take(one: Evidence, series: Series, free: NDArray[np.bool_]) -> None:
    """Mark every remaining line on a series as taken."""
    if len(series.numbers) == 0:
        return
    hz = one.lines.hz[one.left]
    number = np.rint(hz / series.hz)
    away = np.abs(hz - number * series.hz)
    free &= ~((number >= 1) & (away < one.lines.apart_hz + hz * 2.0 / 1731.0))


def is_octave_of_stated(
    companion: Companion, evidence: Sequence[Evidence], semitones: int, comb: int = 0
) -> bool:
    """Whether the companion is the stated rank itself, at a shifted key.

    A coupler adds the same pipe that the other key sounds, so it is within a cent of that
    key's hold.
    """
    by_key = {one.key: one.stated_hz[comb] for one in evidence}
    agree = compared = 0
    for hold, series in companion.series.items():
        other = by_key.get(evidence[hold].key + semitones)
        if other is not None and len(series.numbers):
            compared += 1
            agree += abs(1200.0 * np.log2(series.hz / other)) < _SAME_PIPE_CENTS
    return compared >= 5 and agree >= _SAME_PIPE_SHARE * compared
