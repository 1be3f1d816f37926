"""Several stops were stated and they are never heard together: which of them was walked?

A 4′ alone at C2 sounds like a 16′ alone at C4. Where both are stated and only one is drawn, each
hold may be named as either, at different keys. So the whole walk is named on each stop alone;
the one that clearly fits better, by the order of the keys and the ends of the compass, is what
sounds. Where none does, nothing is believed.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

from walkboard.listening.readings import withheld
from walkboard.listening.types import ExpectedKey, ReadingFlag
from walkboard.organ.model import Organ
from walkboard.survey.hear.audible import heard_of
from walkboard.survey.hear.heard_walk import HeardWalk
from walkboard.survey.hear.holds import NamedWalk
from walkboard.survey.hear.sentence import nothing_of, which_alone
from walkboard.survey.recognise.walked import fit, in_order


@dataclass(frozen=True, slots=True)
class Limits:
    """When stops are never together. *Chosen*, unless noted."""

    least_holds: int = 6  # in which two stops are expected, below which nothing is reported
    together: float = 0.12  # share of them with two found; fitted by bench situations
    plainly: float = 0.08  # of the fit, by which one stop must be better; as for another stop


LIMITS = Limits()


def heard_alone(
    organ: Organ,
    walk: HeardWalk,
    expected_of: Mapping[str, Sequence[ExpectedKey]],
    *,
    name: Callable[[Sequence[ExpectedKey]], NamedWalk],
    judged: Callable[[NamedWalk, Sequence[ExpectedKey], Sequence[str]], HeardWalk],
) -> HeardWalk:
    """The walk as that of the one stop that sounds, or with no value where that is not sure.

    Parameters
    ----------
    organ : Organ
    walk : HeardWalk
        As heard with all stated stops.
    expected_of : mapping of str to sequence of ExpectedKey
        What each stated stop alone sounds at each key of the walk.
    name : callable
        Names the recording's holds on keys that sound so.
    judged : callable
        Measures and judges named holds, given what each key sounds and which stops that is.
    """
    if walk.heard is None or not walk.believed or not _never_together(organ, walk):
        return walk
    named = {stop: name(expected) for stop, expected in expected_of.items()}
    score = {stop: fit(one.walk) * in_order(one.walk) for stop, one in named.items()}
    best, *rest = sorted(score, key=lambda stop: -score[stop])
    if rest and score[rest[0]] > score[best] - LIMITS.plainly:
        return _unsure(organ, walk)
    alone = judged(named[best], expected_of[best], [best])
    if alone.heard is None or not alone.believed:
        return walk  # that stop does not explain all: the other sounds as well
    silent = tuple(stop for stop in expected_of if stop != best)
    return replace(alone, heard=nothing_of(organ, alone.heard, silent))


def _never_together(organ: Organ, walk: HeardWalk) -> bool:
    ranks = {plays.rank: stop.id for stop in organ.stops_among(walk.drawn) for plays in stop.plays}
    able = met = 0
    for hold in heard_of(organ, walk.air_celsius, walk.holds):
        due = {ranks.get(rank) for rank, _ in hold}
        found = {ranks.get(rank) for rank, is_heard in hold if is_heard}
        able += len(due) > 1
        met += len(found) > 1
    return able >= LIMITS.least_holds and met < LIMITS.together * able


def _unsure(organ: Organ, walk: HeardWalk) -> HeardWalk:
    assert walk.heard is not None
    heard = which_alone(organ, walk.heard, [stop.id for stop in organ.stops_among(walk.drawn)])
    holds = tuple(
        replace(hold, readings=tuple(withheld(r, ReadingFlag.OTHER) for r in hold.readings))
        for hold in walk.holds
    )
    return replace(walk, holds=holds, heard=heard, warnings=(*walk.warnings, heard.question))
