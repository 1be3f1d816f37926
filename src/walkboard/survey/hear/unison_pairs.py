"""Near unisons of a walk as `naming_along` weighs them: differences of level by partial."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from walkboard.listening.joint.labels import expected_levels_db
from walkboard.listening.readings import Either, Measured
from walkboard.listening.types import Comb, Partial
from walkboard.organ.model import Organ, PipeRef
from walkboard.quantities import cents_of_ratio
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.hear.memory import Memory
from walkboard.survey.hear.names import MOST_PARTIALS, PairHeard
from walkboard.survey.kinds import spectrum_of

_UNISON_CENTS = 60.0
_APART_KEYS = 6.0  # largest distance of two pipes heard alone and still compared; chosen
_PLACE_HZ = 65.4  # zero of the places along the keys


def pairs_of(hold: Hold) -> list[tuple[int, int]]:
    """Readings of a hold that share two places: separated, not named."""
    found = []
    for i, one in enumerate(hold.readings):
        for j in range(i + 1, len(hold.readings)):
            other = hold.readings[j]
            first, second = either_of(one), either_of(other)
            if first is not None and second is not None and first.hz[::-1] == second.hz:
                found.append((i, j))
    return found


def either_of(reading: Reading) -> Either | None:
    """Both places of two separated pipes, from the hold alone."""
    return None if reading.bound_or_none is None else reading.bound_or_none.either


def named_pairs_of(hold: Hold) -> list[tuple[int, int]]:
    """Readings of near unisons that listening itself named."""
    named = [
        (index, reading.hz)
        for index, reading in enumerate(hold.readings)
        if isinstance(reading, Measured) and reading.name_sureness is not None
    ]
    return [
        (i, j)
        for at, (i, one_hz) in enumerate(named)
        for j, other_hz in named[at + 1 :]
        if abs(cents_of_ratio(one_hz / other_hz)) < _UNISON_CENTS
    ]


def pair_heard(
    organ: Organ,
    target: Callable[[PipeRef], float],
    one: Reading,
    other: Reading,
    odds: float = 0.0,
) -> PairHeard:
    """Two readings as one observation of how their ranks compare."""
    place_hz = target(one.pipe)
    difference = level_differences(one.partials, other.partials)
    numbers = sorted(difference)
    due = [
        expected_levels_db(
            Comb(str(reading.pipe), place_hz, spectrum_of(organ, reading.pipe)),
            numbers,
        )
        for reading in (one, other)
    ]
    apart_db = {
        n: a - b for n, a, b in zip(numbers, *due, strict=True) if a is not None and b is not None
    }
    levels = one.level_db, other.level_db
    level_db = None if levels[0] is None or levels[1] is None else levels[0] - levels[1]
    return PairHeard(place_of(place_hz), difference, apart_db, odds, level_db)


def place_of(hz: float) -> float:
    """Place along the keys [semitones]."""
    return 12.0 * math.log2(hz / _PLACE_HZ)


def level_differences(one: Sequence[Partial], other: Sequence[Partial]) -> Mapping[int, float]:
    """Level of one reading's partials over the other's [dB], as far up as both are heard.

    If only one of them has a partial, the other's counts as the faintest that either has: they
    differ at least by that. Missing even partials identify a stopped pipe.
    """
    levels = [{p.number: p.level_db for p in partials} for partials in (one, other)]
    if not levels[0] or not levels[1]:
        return {}
    highest = min(max(levels[0]), max(levels[1]), MOST_PARTIALS)
    floor = min(min(level.values()) for level in levels)
    return {
        n: levels[0].get(n, floor) - levels[1].get(n, floor)
        for n in range(1, highest + 1)
        if n in levels[0] or n in levels[1]
    }


def heard_alone(
    organ: Organ, target: Callable[[PipeRef], float], memory: Memory, ranks: tuple[str, str]
) -> list[PairHeard]:
    """Pipes of two ranks that each sounded alone, compared at the same or a nearby key."""
    alone = [
        [
            reading
            for reading in memory.alone.values()
            if reading.pipe.rank == rank and reading.name_sureness is None
        ]
        for rank in ranks
    ]
    if not alone[0] or not alone[1]:
        return []
    places = np.array([place_of(target(reading.pipe)) for reading in alone[1]])
    found = []
    for one in alone[0]:
        away = np.abs(places - place_of(target(one.pipe)))
        nearest = int(np.argmin(away))
        if away[nearest] <= _APART_KEYS:
            found.append(pair_heard(organ, target, one, alone[1][nearest], math.inf))
    return found
