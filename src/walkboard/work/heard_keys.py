"""Which keys of a walk were heard well enough."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ, PipeRef
from walkboard.scales.keys import Key
from walkboard.survey.hear.heard_walk import HeardWalk, Reading

ENOUGH_SIGMA_CENTS = 0.5  # to find a stray of 3 cents at six standard deviations. Chosen.


class Enough(StrEnum):
    """Whether a key was heard well enough."""

    YES = "yes"  # every pipe that it sounds has a value
    PARTLY = "partly"  # some have none, or are to be taken with care
    NO = "no"  # held or skipped, and nothing was measured


@dataclass(frozen=True, slots=True)
class KeyHeard:
    """A key of a walk; `pipes` are those without a trusted value."""

    key: Key
    enough: Enough
    pipes: tuple[PipeRef, ...] = ()


def keys_heard(
    organ: Organ, walks: Iterable[HeardWalk], drawn: Sequence[str]
) -> tuple[KeyHeard, ...]:
    """Each key of a registration that was held or skipped, upward.

    Parameters
    ----------
    organ : Organ
    walks : iterable of HeardWalk
        Other registrations are left out. A key held more than once counts with its best reading of
        each pipe.
    drawn : sequence of str
        Ids of the stops, in any order.
    """
    readings: dict[Key, list[Reading]] = {}
    for walk in walks:
        if frozenset(walk.drawn) != frozenset(drawn):
            continue
        for hold in walk.holds:
            if hold.key is not None:
                readings.setdefault(hold.key, []).extend(hold.readings)
        for key in walk.silent_keys:
            readings.setdefault(key, [])
    return tuple(_key_heard(organ, drawn, key, readings[key]) for key in sorted(readings))


def _key_heard(organ: Organ, drawn: Sequence[str], key: Key, readings: list[Reading]) -> KeyHeard:
    read = {r.pipe for r in readings if isinstance(r, Measured)}
    good = {r.pipe for r in readings if _is_good(r)}
    sounding = organ.sounding(drawn, key)
    wanting = tuple(pipe for pipe in sounding if pipe not in good)
    if not read:
        return KeyHeard(key, Enough.NO, wanting)
    return KeyHeard(key, Enough.PARTLY if wanting else Enough.YES, wanting)


def _is_good(reading: Reading) -> bool:
    return isinstance(reading, Measured) and reading.sigma_cents <= ENOUGH_SIGMA_CENTS
