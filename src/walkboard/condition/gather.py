"""From the readings of many walks to one deviation of each pipe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import TypeGuard

from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.listening.readings import Measured, best_reading
from walkboard.listening.types import HoldFlag, ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.survey.hear.heard_walk import HeardWalk, Hold, Reading
from walkboard.survey.recognise.verdict import Heard

_LEAST_SURE = 0.5  # a hold whose key is less certain than this is not used
_UNUSABLE = frozenset(
    {
        ReadingFlag.SILENT,
        ReadingFlag.MERGED,
        ReadingFlag.OCTAVE,
        ReadingFlag.OTHER,
        ReadingFlag.TREMULANT,
    }
)


def best_readings(organ: Organ, walks: Iterable[HeardWalk]) -> tuple[PipeCents, ...]:
    """The best reading of each pipe: the one with the smallest uncertainty.

    Parameters
    ----------
    organ : Organ
    walks : iterable of HeardWalk
        All of this organ.

    Returns
    -------
    tuple of PipeCents
        Rank by rank, upward. Pipes without a trustworthy reading are left out.

    Raises
    ------
    InputError
        If a walk is of another organ, or of pipes this organ does not have.
    """
    found: dict[PipeRef, list[tuple[Measured[PipeRef], float, float]]] = {}
    for walk in walks:
        _must_be_of(organ, walk)
        if not walk.believed:
            continue
        air = organ.pitch.at_celsius if walk.air_celsius is None else walk.air_celsius
        clock = 0.0 if walk.heard is None else clock_sigma_cents(walk.heard)
        for hold in walk.holds:
            if not _names_its_key(hold):
                continue
            for reading in hold.readings:
                if is_usable(reading):
                    found.setdefault(reading.pipe, []).append((reading, air, clock))
    order = {rank.id: index for index, rank in enumerate(organ.ranks)}
    best = []
    for pipe in sorted(found, key=lambda p: (order[p.rank], p.number)):
        reading, air, clock = best_reading(found[pipe], lambda one: one[0])
        best.append(_pipe_cents(reading, air, clock))
    return tuple(best)


def stated_air(organ: Organ, walks: Iterable[HeardWalk]) -> Mapping[str, float]:
    """Air stated for each division's walks, the mean of several [°C]."""
    stated: dict[str, list[float]] = {}
    for walk in walks:
        if walk.air_celsius is None:
            continue
        divisions = {
            organ.rank(plays.rank).division
            for stop in organ.stops_among(walk.drawn)
            for plays in stop.plays
        }
        for division in divisions:
            stated.setdefault(division, []).append(walk.air_celsius)
    return {division: sum(values) / len(values) for division, values in stated.items()}


def _names_its_key(hold: Hold) -> bool:
    return (
        hold.key is not None
        and hold.sureness >= _LEAST_SURE
        and HoldFlag.UNKNOWN_KEY not in hold.flags
    )


def clock_sigma_cents(heard: Heard) -> float:
    """What the recorder's clock may add to every pitch of a walk; 0 in walks of older versions."""
    return 0.0 if heard.clock is None else heard.clock.sigma_cents


def pipe_cents_of(
    reading: Reading, air_celsius: float, clock_sigma_cents: float = 0.0
) -> PipeCents | None:
    """A pipe's deviation from one reading; None if the reading cannot be trusted for that."""
    return _pipe_cents(reading, air_celsius, clock_sigma_cents) if is_usable(reading) else None


def is_usable(reading: Reading) -> TypeGuard[Measured[PipeRef]]:
    """Whether a reading is measured and no flag speaks against planning with it."""
    return isinstance(reading, Measured) and not _UNUSABLE & set(reading.flags)


def _pipe_cents(
    reading: Measured[PipeRef], air_celsius: float, clock_sigma_cents: float
) -> PipeCents:
    return PipeCents(
        reading.pipe,
        reading.cents,
        reading.sigma_cents,
        reading.level_db,
        air_celsius,
        clock_sigma_cents,
    )


def _must_be_of(organ: Organ, walk: HeardWalk) -> None:
    if walk.organ != organ.name:
        raise InputError(
            f"These readings are of {walk.organ!r}, the organ given is {organ.name!r}.",
            where=walk.file,
            fix="Give the readings with the organ that they were taken on.",
        )
    for hold in walk.holds:
        for reading in hold.readings:
            rank = organ.rank(reading.pipe.rank)
            if reading.pipe.number > rank.pipes:
                raise InputError(
                    f"The readings have pipe {reading.pipe}, but the rank has {rank.pipes} pipes.",
                    where=walk.file,
                    fix="Listen again with the present description.",
                )


def stated_celsius(organ: Organ, pipes: Sequence[PipeCents]) -> float:
    """The air that the readings of a division are given at: the commonest of its flues [°C].

    Parameters
    ----------
    organ : Organ
    pipes : sequence of PipeCents
        All of one division, at least one; reeds count if there are no flues.
    """
    flues = [
        p.air_celsius for p in pipes if organ.rank(p.pipe.rank).family_of(p.pipe.number).is_flue
    ]
    return Counter(flues or [p.air_celsius for p in pipes]).most_common(1)[0][0]
