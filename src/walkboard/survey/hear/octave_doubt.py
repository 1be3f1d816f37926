"""A walk in the middle of the compass that begins or ends where another stop's compass does.

Keys C3 to A5 of a 16′ sound like keys C2 to A4 of an 8′. If a walk ends with the highest key of
another stop an octave away and reaches neither end of the one stated, the other one was probably
walked: nobody stops at that key of the stated stop. A C is different: walks of a part of the
compass begin and end there too. Then the recording does not show which stop it is, and only says
so; an earlier recording of both shows it by how their pipes stray.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

from walkboard.listening.readings import Measured
from walkboard.organ.model import Organ, Rank
from walkboard.scales.keys import Key
from walkboard.survey.hear.before import Remembered, kin_of, lone_rank, octave_away, strays_like
from walkboard.survey.hear.heard_walk import Hold

_OCTAVE = 12


@dataclass(frozen=True, slots=True)
class Limits:
    """When the ends of a walk say something."""

    least_keys: int = 6  # fewer begin anywhere; chosen


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class OctaveDoubt:
    """Stops an octave from the stated one that the walk may have been of.

    Attributes
    ----------
    likely : tuple of str
        Those whose compass it begins or ends with at a key where nobody begins a part of one.
    possible : tuple of str
        Those that sound the same and reach as much of their compass.
    first, last : Key or None
        The keys that the first likely or possible stop would have been walked from and to.
    """

    likely: tuple[str, ...] = ()
    possible: tuple[str, ...] = ()
    first: Key | None = None
    last: Key | None = None


NO_DOUBT = OctaveDoubt()
NOTHING: Remembered = MappingProxyType({})


def octave_doubt(
    organ: Organ,
    drawn: Sequence[str],
    holds: Sequence[Hold],
    air_celsius: float | None = None,
    before: Remembered = NOTHING,
) -> OctaveDoubt:
    """Whether a walk of one stop may have been one of a stop an octave away.

    Parameters
    ----------
    organ, drawn, air_celsius
        As stated.
    holds : sequence of Hold
    before : mapping of str to RankSound
        How ranks sounded in earlier recordings.
    """
    rank = lone_rank(organ, drawn)
    held = sorted(
        {
            hold.key
            for hold in holds
            if hold.key is not None and any(isinstance(r, Measured) for r in hold.readings)
        }
    )
    if rank is None or len(held) < LIMITS.least_keys:
        return NO_DOUBT
    own = _ends(organ, drawn[0], held)
    likely: dict[str, tuple[Key, Key]] = {}
    possible: dict[str, tuple[Key, Key]] = {}
    away = _an_octave_away(organ, drawn, rank, holds)
    for stop, (_, moved) in away.items():
        keys = [key.up(moved) for key in held]
        ends = _ends(organ, stop, keys)
        if ends is None or own:
            continue
        if any(key.semitone % _OCTAVE for key in ends):
            likely[stop] = keys[0], keys[-1]
        else:
            possible[stop] = keys[0], keys[-1]
    ranks = [other for stop, (other, _) in away.items() if stop in likely or stop in possible]
    known = strays_like(organ, drawn, holds, air_celsius, remembered=before, ranks=ranks)
    if known is not None:
        every = {**likely, **possible}
        likely = {stop: every[stop] for stop in every if away[stop][0].id == known.id}
        possible = {}
    first, last = next(iter((*likely.values(), *possible.values())), (None, None))
    return OctaveDoubt(tuple(likely), tuple(possible), first, last)


def _an_octave_away(
    organ: Organ, drawn: Sequence[str], rank: Rank, holds: Sequence[Hold]
) -> Mapping[str, tuple[Rank, int]]:
    """Stops that may sound like the stated one an octave off, with the way to their keys."""
    found = octave_away(organ, drawn)
    kin = kin_of(rank, found, holds)
    lower = {stop for stop in kin if found[stop].multiple_of(1) < rank.multiple_of(1)}
    return {stop: (found[stop], _OCTAVE if stop in lower else -_OCTAVE) for stop in kin}


def _ends(organ: Organ, stop: str, held: Sequence[Key]) -> set[Key] | None:
    """The ends of a stop's compass that a walk reaches; None if it goes beyond one."""
    keys = organ.keys_of([stop])
    if held[0] < keys[0] or held[-1] > keys[-1]:
        return None
    return {keys[0], keys[-1]} & {held[0], held[-1]}
