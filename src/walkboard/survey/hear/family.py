"""Whether the partials of a walk are those of the family stated, and which stop fits better."""

from __future__ import annotations

from collections.abc import Sequence

from walkboard.listening.readings import Measured
from walkboard.organ.model import Family, Organ
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.recognise.families import Timbre, timbre_of
from walkboard.survey.recognise.verdict import AlsoSounding


def other_family(
    organ: Organ, drawn: Sequence[str], holds: Sequence[Hold]
) -> tuple[tuple[AlsoSounding, ...], bool]:
    """Stops of the stated pitch whose family fits what was heard, where the stated one's does not.

    Only of a stop that sounds alone, and one rank: where several sound their partials mix.
    """
    if len(drawn) != 1 or len(organ.stop(drawn[0]).plays) != 1:
        return (), False
    readings = [r for hold in holds for r in hold.readings]
    read = [(r.hz, r.partials) for r in readings if isinstance(r, Measured) and r.partials]
    timbre = timbre_of(read)
    stated = organ.rank(organ.stop(drawn[0]).plays[0].rank)
    if timbre is None or not timbre.contradicts(stated.family):
        return (), False
    multiple = stated.multiple_of(1)
    fitting = [
        stop.id
        for stop in sorted(organ.stops, key=lambda s: s.division != organ.stop(drawn[0]).division)
        if stop.id not in drawn
        and len(stop.plays) == 1
        and (rank := organ.rank(stop.plays[0].rank)).multiple_of(1) == multiple
        and rank.from_key == stated.from_key
        and not timbre.contradicts(rank.family)
    ]
    fitting.sort(key=lambda stop: _unlike(timbre, family_of_stop(organ, stop)))
    if not fitting:
        # Some open flutes have as few even partials as a stopped pipe: without a stop that fits
        # better nothing is doubted.
        return (), stated.family is not Family.OPEN
    found = AlsoSounding(fitting[0], len(read), len(read), 0, tuple(fitting[1:]))
    return (found,), True


def _unlike(timbre: Timbre, family: Family) -> float:
    """How little a family fits, among those that are not contradicted."""
    match family:
        case Family.STOPPED:
            return 0.0 if timbre.evens_db < -18.0 else 2.0
        case Family.CHIMNEY:
            return 0.5 if timbre.evens_db < -12.0 else 2.0
        case Family.REED:
            return 0.5 if timbre.rich > 0.7 else 2.5
        case Family.OPEN:
            return 1.0


def family_of_stop(organ: Organ, stop: str) -> Family:
    """Family of the first rank that a stop plays."""
    return organ.rank(organ.stop(stop).plays[0].rank).family
