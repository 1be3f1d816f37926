"""Ways through the case: minutes from chest to chest, and a short round over those to be visited.

Flues are tuned before reeds, so there are two rounds. Where the description says nothing, a walk
takes the usual minutes of `walkboard.planning.minutes`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import permutations

from walkboard.organ.model import Organ
from walkboard.planning.minutes import ARRIVE_MINUTES, WALK_FAR_MINUTES, WALK_NEAR_MINUTES

_FEW = 6  # so many places are tried in every order; of more, a good order is looked for


class Round(StrEnum):
    """Which of the two rounds through the case."""

    FLUES = "flues"
    REEDS = "reeds"


@dataclass(frozen=True, slots=True, order=True)
class Visit:
    """Coming to a chest in one of the rounds."""

    round: Round
    chest: str


@dataclass(frozen=True, slots=True)
class Leg:
    """One walk: to where, and how long [min]."""

    visit: Visit
    minutes: float


class Ways:
    """Shortest walks between the chests of an organ.

    Parameters
    ----------
    organ : Organ
        Walks that it names are taken, and their sums where they join; others are the usual ones.
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

    def minutes(self, start: str | None, to: str) -> float:
        """Minutes from a chest, or from the console where it is None, to a chest."""
        return ARRIVE_MINUTES if start is None else self._walk[start, to]

    def round_trip(
        self,
        visits: Iterable[Visit],
        first: str | None,
        before: Iterable[tuple[str, str]] = (),
    ) -> tuple[Leg, ...]:
        """A short way over all visits: the flues' round, then the reeds'.

        Parameters
        ----------
        visits : iterable of Visit
        first : str or None
            The chest to begin at, if its flues are to be visited.
        before : iterable of (str, str)
            Pairs of chests of which the first comes before the second in the flues' round, as far
            as that can be.
        """
        wanted = sorted(set(visits))
        legs: list[Leg] = []
        at: str | None = None
        for turn in Round:
            places = [v.chest for v in wanted if v.round is turn]
            pairs = tuple(before) if turn is Round.FLUES else ()
            head = [first] if turn is Round.FLUES and first in places else []
            rest = [p for p in places if p not in head]
            start = head[0] if head else at
            for place in (*head, *self._order(start, rest, pairs)):
                assert place is not None
                legs.append(Leg(Visit(turn, place), self.minutes(at, place)))
                at = place
        return tuple(legs)

    def charges(self, legs: Sequence[Leg], visits: Iterable[Visit]) -> dict[Visit, float]:
        """Minutes that each visit adds: as walked where it is on the way, else what it would add.

        A visit that is not on the way is put in where it makes the way least longer.
        """
        charged = {leg.visit: leg.minutes for leg in legs}
        for visit in visits:
            if visit not in charged:
                charged[visit] = self._insertion(legs, visit)
        return charged

    def _insertion(self, legs: Sequence[Leg], visit: Visit) -> float:
        chests = [leg.visit.chest for leg in legs]
        flues = sum(leg.visit.round is Round.FLUES for leg in legs)
        low, high = (0, flues) if visit.round is Round.FLUES else (flues, len(legs))
        added = []
        for place in range(low, high + 1):
            before = chests[place - 1] if place else None
            extra = self.minutes(before, visit.chest)
            if place < len(chests):
                extra += self.minutes(visit.chest, chests[place])
                extra -= self.minutes(before, chests[place])
            added.append(max(0.0, extra))
        return min(added)

    def _order(
        self, start: str | None, places: list[str], before: Sequence[tuple[str, str]]
    ) -> list[str]:
        def length(order: Sequence[str]) -> tuple[int, float]:
            seen = {place: index for index, place in enumerate(order)}
            wrong = sum(a in seen and b in seen and seen[a] > seen[b] for a, b in before)
            stops = [start, *order]
            return wrong, sum(self.minutes(a, b) for a, b in zip(stops, order, strict=False))

        if len(places) <= _FEW:
            return min((list(order) for order in permutations(places)), key=length)
        order: list[str] = []
        for place in places:  # put each where it lengthens the way least …
            order = min(
                ([*order[:i], place, *order[i:]] for i in range(len(order) + 1)), key=length
            )
        while True:  # … then move single places and turn stretches round while that shortens it
            moved = min(_neighbours(order), key=length)
            if length(moved) >= length(order):
                return order
            order = moved


def _neighbours(order: list[str]) -> Iterable[list[str]]:
    for i in range(len(order)):
        rest = order[:i] + order[i + 1 :]
        for j in range(len(order)):
            yield [*rest[:j], order[i], *rest[j:]]
        for j in range(i + 2, len(order) + 1):
            yield order[:i] + order[i:j][::-1] + order[j:]
