"""Ways through the case: minutes between chests, and the way through those to visit.

The chest of the reference rank comes first, and coming in allows time to check it. Celestes and
mixtures come after the other flues of their division, reeds after the flues that they are tuned to,
those of their own division (`walkboard.planning.route.order`). So a chest may be visited more than
once, but it is finished in one go if nothing outside it is pending. If the description says
nothing, a walk takes the usual minutes of `planning.route.minutes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from walkboard.organ.celestes import partner_of
from walkboard.organ.model import Organ
from walkboard.planning.air_course import AirCourse
from walkboard.planning.minutes import COMING_IN_MINUTES, WALK_FAR_MINUTES, WALK_NEAR_MINUTES
from walkboard.planning.route.shortest import BEAMS, Stint, shortest

QUICK = BEAMS[:2]  # for ways needed repeatedly; enough to prove a few chests


class Round(StrEnum):
    """The purpose of a visit to a chest."""

    FLUES = "flues"
    CELESTES = "celestes"
    MIXTURES = "mixtures"
    REEDS = "reeds"


# Within a division, lower values are done before higher ones.
_TURN = {Round.FLUES: 0, Round.CELESTES: 1, Round.MIXTURES: 1, Round.REEDS: 2}


@dataclass(frozen=True, slots=True, order=True)
class Visit:
    """A visit to a chest for one of these."""

    round: Round
    chest: str


@dataclass(frozen=True, slots=True)
class Leg:
    """One walk: destination and time [min]."""

    visit: Visit
    minutes: float


@dataclass(frozen=True, slots=True)
class Way:
    """A way through the visits of a plan.

    Attributes
    ----------
    legs : tuple of Leg
    cost, bound_cost : float
        Walking plus the cost of the air at the reeds [min], and a lower bound for any other way
        through the same visits.
    """

    legs: tuple[Leg, ...]
    cost: float
    bound_cost: float

    @property
    def minutes(self) -> float:
        """Of walking."""
        return sum(leg.minutes for leg in self.legs)

    @property
    def bound_minutes(self) -> float:
        """Whether no other way walks less with no worse air."""
        return max(0.0, self.minutes - (self.cost - self.bound_cost))


@dataclass(frozen=True, slots=True)
class Work:
    """The work of one visit.

    Attributes
    ----------
    minutes : float
        Panels, ranks and pipes.
    reeds : int
        Reed pipes.
    """

    minutes: float
    reeds: int = 0


@dataclass(frozen=True, slots=True)
class Weather:
    """The air during the work, and the event's, by division."""

    air: Mapping[str, AirCourse] = field(default_factory=lambda: MappingProxyType({}))
    event_celsius: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


class Ways:
    """Shortest walks between the chests of an organ.

    Parameters
    ----------
    organ : Organ
        Named walks are used, and their sums if they join; others take the usual minutes.
    """

    def __init__(self, organ: Organ) -> None:
        self.chests = tuple(chest.id for chest in organ.chests)
        division = {chest.id: chest.division for chest in organ.chests}
        far = float("inf")
        walk = {
            (a, b): 0.0 if a == b else organ.travel_minutes.get((a, b), far)
            for a in self.chests
            for b in self.chests
        }
        for via in self.chests:  # shortest sums of named walks (Floyd 1962, Comm. ACM 5:345)
            for a in self.chests:
                for b in self.chests:
                    walk[a, b] = min(walk[a, b], walk[a, via] + walk[via, b])
        for (a, b), minutes in walk.items():
            if minutes == far:
                near = division[a] == division[b]
                walk[a, b] = WALK_NEAR_MINUTES if near else WALK_FAR_MINUTES
        self._walk: Mapping[tuple[str, str], float] = walk
        self._division = division
        # chests of celestes, each with that of a partner in another division
        self._partners = frozenset(
            (rank.chest, partner.chest)
            for rank in organ.ranks
            if rank.is_celeste and (partner := partner_of(organ, rank)) is not None
        )
        self._matrix = np.array([[walk[a, b] for b in self.chests] for a in self.chests])
        self._arrive = np.full(len(self.chests), COMING_IN_MINUTES)

    def minutes(self, start: str | None, to: str) -> float:
        """Minutes from a chest, or from the console if None, to a chest.

        Coming from the console includes checking the reference rank.
        """
        return COMING_IN_MINUTES if start is None else self._walk[start, to]

    def round_trip(
        self,
        visits: Iterable[Visit],
        first: str | None,
        *,
        work: Mapping[Visit, Work] | None = None,
        weather: Weather | None = None,
        beams: Sequence[int] = BEAMS,
    ) -> Way:
        """The way through all visits: flues, then their division's celestes, mixtures and reeds.

        Parameters
        ----------
        visits : iterable of Visit
        first : str or None
            The chest to start at, if its flues are visited.
        work : mapping of Visit to Work, optional
            With `weather`, reeds are reached when the air is nearest the event's.
        weather : Weather, optional
        beams : sequence of int
            See `walkboard.planning.route.shortest`.
        """
        wanted = sorted(set(visits))
        places = {chest: index for index, chest in enumerate(self.chests)}
        work, weather = work or {}, weather or Weather()
        stints = [
            Stint(
                chest=places[visit.chest],
                division=self._division[visit.chest],
                work_minutes=work[visit].minutes if visit in work else 0.0,
                after=frozenset(
                    index for index, other in enumerate(wanted) if self._before(other, visit, first)
                ),
                reeds=work[visit].reeds if visit in work else int(visit.round is Round.REEDS),
                air=weather.air.get(self._division[visit.chest]),
                event_celsius=weather.event_celsius.get(self._division[visit.chest]),
            )
            for visit in wanted
        ]
        route = shortest(stints, self._matrix, self._arrive, beams=beams)
        legs: list[Leg] = []
        at: str | None = None
        for index in route.order:
            visit = wanted[index]
            legs.append(Leg(visit, self.minutes(at, visit.chest)))
            at = visit.chest
        return Way(tuple(legs), route.cost, route.bound)

    def _before(self, one: Visit, other: Visit, first: str | None) -> bool:
        """Whether one visit must come before another."""
        begin = Visit(Round.FLUES, first) if first is not None else None
        if other in (one, begin):
            return False
        if one == begin:
            return True
        if (one.round, other.round) == (Round.FLUES, Round.CELESTES) and (
            (other.chest, one.chest) in self._partners
        ):
            return True
        same = self._division[one.chest] == self._division[other.chest]
        return same and _TURN[one.round] < _TURN[other.round]

    def charges(self, legs: Sequence[Leg], visits: Iterable[Visit]) -> dict[Visit, float]:
        """Minutes that each visit adds: as walked if it is on the way, else what it would add.

        A visit not on the way is inserted where it adds least.
        """
        charged = {leg.visit: leg.minutes for leg in legs}
        for visit in visits:
            if visit not in charged:
                charged[visit] = self._insertion(legs, visit)
        return charged

    def _insertion(self, legs: Sequence[Leg], visit: Visit) -> float:
        chests = [leg.visit.chest for leg in legs]
        own = self._division[visit.chest]
        turns = [
            (place, _TURN[leg.visit.round])
            for place, leg in enumerate(legs)
            if self._division[leg.visit.chest] == own
        ]
        turn = _TURN[visit.round]
        low = max((place + 1 for place, other in turns if other < turn), default=0)
        high = min((place for place, other in turns if other > turn), default=len(legs))
        high = max(low, high)
        added = []
        for place in range(low, high + 1):
            before = chests[place - 1] if place else None
            extra = self.minutes(before, visit.chest)
            if place < len(chests):
                extra += self.minutes(visit.chest, chests[place])
                extra -= self.minutes(before, chests[place])
            added.append(max(0.0, extra))
        return min(added)
