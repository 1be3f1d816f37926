"""Suggest the few keys that say most about the organ's state.

Most of the uncertainty about an organ is common to many pipes: how far each rank has moved, and
what the visit's air does to each division. A key reduces it through the pipes it sounds; a second
pipe of the same rank adds less. Keys are taken greedily, a few of one registration at a time, by
how much of that uncertainty they remove, each rank weighted by its pipes. Greedy is within 1 − 1/e
of the best for such gains, which only get less (Nemhauser, Wolsey and Fisher 1978, Mathematical
Programming 14:265; from memory).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.history import VisitFigures
from walkboard.organ.model import PipeRef
from walkboard.planning.arrays import FloatArray
from walkboard.planning.listen.keys import Offer
from walkboard.survey.plan.walk_plan import SurveyWalk

QUICK_KEYS = 20
# For an organ never heard before, twice as many: with 60 pipes heard the pitch of the divisions was
# wrong by 0.6 cent (root mean square), with two of every rank, 92, by 0.4.
UNHEARD_KEYS = 40
AT_ONCE = 4  # keys of one registration: setting stops takes as long as holding four keys


def quick_look(
    drift: OrganDrift,
    when: VisitFigures,
    offers: Sequence[Offer],
    weight: Mapping[PipeRef, float],
    *,
    keys: int = QUICK_KEYS,
    at_once: int = AT_ONCE,
) -> tuple[SurveyWalk, ...]:
    """Keys to hold first.

    Parameters
    ----------
    drift : OrganDrift
        State before the visit's readings.
    when : VisitFigures
        The visit's date and air.
    offers : sequence of Offer
    weight : mapping of PipeRef to float
        Weight of each pipe.
    keys, at_once : int
        Keys in total, and of one registration; more of each if there are few registrations.
    """
    at_once = max(at_once, -(-keys // max(1, len(offers))))
    uncertainty = _Uncertainty(drift, when, weight)
    chosen: dict[int, list[int]] = {}
    left = keys
    while left > 0:
        best, best_gain, best_keys = -1, 0.0, []
        for number, offer in enumerate(offers):
            if number in chosen:
                continue
            some = _spread_keys(offer, uncertainty, min(left, at_once))
            gain = uncertainty.taken_by([p for n in some for p in offer.pipes[n]]) / max(
                1, len(some)
            )
            if gain > best_gain:
                best, best_gain, best_keys = number, gain, some
        if best < 0:
            break
        chosen[best] = best_keys
        uncertainty.take([p for n in best_keys for p in offers[best].pipes[n]])
        left -= len(best_keys)
    return tuple(_walk(offers[number], sorted(chosen[number])) for number in sorted(chosen))


def keys_to_begin_with(drift: OrganDrift) -> int:
    """How many keys a visit should start with: twice as many for an organ never heard before."""
    return UNHEARD_KEYS if drift.year is None else QUICK_KEYS


class _Uncertainty:
    """Common part of each rank: variance by rank, reduced by the keys taken."""

    def __init__(
        self, drift: OrganDrift, when: VisitFigures, weight: Mapping[PipeRef, float]
    ) -> None:
        organ = drift.organ
        self._rank = {rank.id: n for n, rank in enumerate(organ.ranks)}
        self._own: list[FloatArray] = []
        common = np.zeros(len(organ.ranks))
        for n, rank in enumerate(drift.ranks):
            own_common, own = rank.telling(drift.shared(when, n))
            habits = drift.common.habits
            visit = habits.visit_cents**2 + habits.place_cents**2 if rank.is_flue else 0.0
            common[n] = own_common + visit
            self._own.append(own)
        self._precision = 1.0 / common
        self._weight = np.zeros(len(organ.ranks))
        for pipe in organ.pipes():
            self._weight[self._rank[pipe.rank]] += weight.get(pipe, 0.0)

    def own(self, pipe: PipeRef) -> float:
        return float(self._own[self._rank[pipe.rank]][pipe.number - 1])

    def taken_by(self, pipes: Sequence[PipeRef]) -> float:
        more = self._more(pipes)
        return float(
            (self._weight * (1.0 / self._precision - 1.0 / (self._precision + more))).sum()
        )

    def take(self, pipes: Sequence[PipeRef]) -> None:
        self._precision += self._more(pipes)

    def _more(self, pipes: Sequence[PipeRef]) -> FloatArray:
        more = np.zeros(len(self._precision))
        for pipe in pipes:
            more[self._rank[pipe.rank]] += 1.0 / self.own(pipe)
        return more


def _spread_keys(offer: Offer, uncertainty: _Uncertainty, count: int) -> list[int]:
    """Keys spread over the compass; in each part the one with the steadiest pipes."""
    sounding = [n for n, pipes in enumerate(offer.pipes) if pipes]
    parts = [part for part in np.array_split(np.array(sounding, dtype=int), count) if len(part)]

    def telling(n: int) -> float:
        return sum(1.0 / uncertainty.own(pipe) for pipe in offer.pipes[n])

    return [int(max(part, key=telling)) for part in parts]


def _walk(offer: Offer, keys: Sequence[int]) -> SurveyWalk:
    walk = offer.walk
    held = tuple(walk.keys[n] for n in keys)
    reads = tuple(pipe for n in keys for pipe in offer.pipes[n])
    return SurveyWalk(walk.division, walk.drawn, held, reads, walk.doubts)
