"""Whether a walk sounds as its rank did before, or as another of the same pitch did.

The partials alone do not distinguish two stops of one pitch and family, but each sounds as it did
at an earlier visit. What was heard then comes as plain values (`RankSound`, by rank). The answer is
that it is the rank, that it is another, or that it cannot be decided.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum

from walkboard.listening.readings import Measured
from walkboard.organ.model import Family, Organ, Rank
from walkboard.organ.targets import target_hz
from walkboard.survey.hear.heard_walk import HeardWalk, Hold
from walkboard.survey.recognise.families import Timbre, timbre_of
from walkboard.survey.recognise.rank_sound import (
    PipeSound,
    RankSound,
    difference,
    misfit,
    pitch_evidence,
    rank_sound,
)

Remembered = Mapping[str, RankSound]
"""How ranks sounded in earlier recordings, by rank."""


@dataclass(frozen=True, slots=True)
class Limits:
    """When a walk is another rank's. *Fitted*: by bench remembered, unless noted."""

    other_odds: float = 6.0  # logarithm of the odds for another rank; one label in 50 is wrong
    alike_odds: float = 3.0  # within which two ranks are not distinguished; chosen: 20 to 1
    pitch_odds: float = 8.0  # by pitch alone, from which it is that rank
    most_pitch_odds: float = 40.0  # that pitch may say; chosen
    unlike: float = 4.0  # misfit a degree of freedom; the same rank is below 3.4


LIMITS = Limits()
_KINDS = ({Family.OPEN}, {Family.STOPPED, Family.CHIMNEY}, {Family.REED})


class Answer(Enum):
    """What earlier recordings say of a walk."""

    SAME = "same"  # it sounds as the rank did before, and as no other
    OTHER = "other"  # it sounds as another rank did
    UNLIKE = "unlike"  # not as the rank did before, nor as any other that is known
    ALIKE = "alike"  # the rank and others sounded alike
    NO_MEMORY = "no memory"  # it, or others that may sound like it, were not recorded before


@dataclass(frozen=True, slots=True)
class Compared:
    """An answer, and the stops of the organ that it is about, the most likely first."""

    answer: Answer
    stops: tuple[str, ...] = ()


NOT_COMPARED = Compared(Answer.SAME)


def sound_of(organ: Organ, walk: HeardWalk) -> RankSound | None:
    """How the rank of a walk sounds, if one rank sounded alone and is believed."""
    rank = lone_rank(organ, walk.drawn)
    if rank is None or not walk.believed:
        return None
    return _sound(organ, rank, walk.holds, walk.air_celsius)


def lone_rank(organ: Organ, drawn: Sequence[str]) -> Rank | None:
    """The one rank that sounds with these stops; None where several do, or none is known."""
    stops = [stop for stop in organ.stops if stop.id in drawn]
    if len(drawn) != 1 or len(stops) != 1 or len(stops[0].plays) != 1:
        return None
    return organ.rank(stops[0].plays[0].rank)


def _sound(
    organ: Organ, rank: Rank, holds: Iterable[Hold], air_celsius: float | None
) -> RankSound | None:
    return rank_sound(
        [
            PipeSound(
                target_hz(organ, reading.pipe, air_celsius),
                reading.cents,
                {partial.number: partial.level_db for partial in reading.partials},
            )
            for hold in holds
            for reading in hold.readings
            if isinstance(reading, Measured) and not reading.flags and reading.pipe.rank == rank.id
        ]
    )


def same_pitch(organ: Organ, drawn: Sequence[str]) -> dict[str, Rank]:
    """Other stops that sound one rank of the pitch that a lone stated one has, by stop."""
    rank = lone_rank(organ, drawn)
    if rank is None:
        return {}
    keyboard = organ.stop(drawn[0]).division
    found = {}
    for stop in sorted(organ.stops, key=lambda one: one.division != keyboard):
        other = lone_rank(organ, [stop.id])
        if (
            other is not None
            and stop.id not in drawn
            and other.id != rank.id
            and other.multiple_of(1) == rank.multiple_of(1)
            and other.from_key == rank.from_key
        ):
            found[stop.id] = other
    return found


def octave_away(organ: Organ, drawn: Sequence[str]) -> dict[str, Rank]:
    """Other stops of the keyboard that sound one rank an octave from a lone stated one, by stop."""
    rank = lone_rank(organ, drawn)
    if rank is None:
        return {}
    division = organ.stop(drawn[0]).division
    found = {}
    for stop in organ.stops:
        other = lone_rank(organ, [stop.id])
        if other is not None and stop.division == division:
            ratio = float(other.multiple_of(1) / rank.multiple_of(1))
            if ratio in (0.5, 2.0):
                found[stop.id] = other
    return found


def compare(
    organ: Organ,
    drawn: Sequence[str],
    holds: Sequence[Hold],
    air_celsius: float | None,
    remembered: Remembered,
) -> Compared:
    """Compare a walk of one rank with how it, and others of its pitch, sounded before."""
    rank = lone_rank(organ, drawn)
    others = same_pitch(organ, drawn)
    if rank is None:
        return NOT_COMPARED
    now = _sound(organ, rank, holds, air_celsius)
    if now is None:
        return NOT_COMPARED
    alike = kin_of(rank, others, holds)
    own = remembered.get(rank.id)
    apart = None if own is None else difference(now, own)
    odds: dict[str, float] = {}
    if own is None or apart is None:
        for stop, other in others.items():
            theirs = remembered.get(other.id)
            if theirs is not None and not _unlike(now, theirs):
                odds[stop] = _pitch(now, theirs)
        best = max(odds, key=lambda stop: odds[stop], default=None)
        if best is not None and odds[best] > LIMITS.pitch_odds:
            return Compared(Answer.OTHER, (best,))
        return Compared(Answer.NO_MEMORY, alike) if alike else Compared(Answer.SAME)
    of_pitch = _pitch(now, own)
    for stop, other in others.items():
        theirs = remembered.get(other.id)
        others_apart = None if theirs is None else difference(now, theirs)
        if theirs is None or others_apart is None:
            continue
        scatter_db = max(apart.scatter_db, others_apart.scatter_db)
        mine, freedom = misfit(apart.among(others_apart), scatter_db)
        its = misfit(others_apart.among(apart), scatter_db)[0]
        # Where even the better fits worse than one rank does with itself, rooms differ more than
        # the limits say, and the odds less.
        spectra = 0.5 * (mine - its) / max(1.0, min(mine, its) / max(1, freedom))
        odds[stop] = spectra + _pitch(now, theirs) - of_pitch
    likelier = sorted(odds, key=lambda stop: -odds[stop])
    if likelier and odds[likelier[0]] > LIMITS.other_odds:
        return Compared(Answer.OTHER, (likelier[0],))
    if of_pitch > LIMITS.pitch_odds and (not likelier or odds[likelier[0]] < 0.0):
        return NOT_COMPARED
    if _unlike(now, own):
        unknown = tuple(stop for stop in others if stop not in odds)
        return Compared(Answer.UNLIKE, unknown)
    as_likely = tuple(stop for stop in likelier if odds[stop] > -LIMITS.alike_odds)
    if as_likely:
        return Compared(Answer.ALIKE, as_likely)
    unheard = tuple(stop for stop in alike if stop not in odds)
    if unheard and of_pitch < LIMITS.alike_odds:
        return Compared(Answer.NO_MEMORY, unheard)
    return NOT_COMPARED


def strays_like(
    organ: Organ,
    drawn: Sequence[str],
    holds: Sequence[Hold],
    air_celsius: float | None,
    *,
    remembered: Remembered,
    ranks: Sequence[Rank],
) -> Rank | None:
    """The rank, the stated one or one of these, whose pipes plainly strayed like this before."""
    rank = lone_rank(organ, drawn)
    now = None if rank is None else _sound(organ, rank, holds, air_celsius)
    if rank is None or now is None:
        return None
    odds = {
        one.id: _pitch(now, theirs) if (theirs := remembered.get(one.id)) is not None else 0.0
        for one in (rank, *ranks)
    }
    likelier = sorted((rank, *ranks), key=lambda one: -odds[one.id])
    best, *rest = likelier
    clear = odds[best.id] - max((odds[one.id] for one in rest), default=0.0)
    return best if min(clear, odds[best.id]) > LIMITS.pitch_odds else None


def _pitch(now: RankSound, before: RankSound) -> float:
    return min(LIMITS.most_pitch_odds, pitch_evidence(now, before))


def _unlike(now: RankSound, before: RankSound) -> bool:
    apart = difference(now, before)
    if apart is None:
        return True
    far, freedom = misfit(apart)
    return far > LIMITS.unlike * freedom


def kin_of(rank: Rank, others: Mapping[str, Rank], holds: Sequence[Hold]) -> tuple[str, ...]:
    """Other stops whose family the partials do not exclude."""
    read = [
        (r.hz, r.partials)
        for hold in holds
        for r in hold.readings
        if isinstance(r, Measured) and r.partials
    ]
    timbre: Timbre | None = timbre_of(read)
    kin = next(kinds for kinds in _KINDS if rank.family in kinds)
    found = [
        stop
        for stop, other in others.items()
        if other.family in kin and (timbre is None or not timbre.contradicts(other.family))
    ]
    return tuple(sorted(found, key=lambda stop: others[stop].family is not rank.family))
