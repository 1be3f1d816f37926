"""A lower bound for choice and walk together, by branching on the chests that are gone to.

A plan that goes to some chests walks at least the shortest path through them. Each branch decides
which chests are gone to and which are not; the rest is free of walking, so the best choice in the
time that is left is a bound of every plan in the branch. The branch with the least bound is divided
next, at the undecided chest where its choice gains most (branch and bound: Land & Doig 1960,
Econometrica 28:497), until none can be better than the known plan, or the branches run out.
"""

from __future__ import annotations

import heapq
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.choose.certify import choose
from walkboard.planning.choose.problem import Problem
from walkboard.planning.minutes import in_steps
from walkboard.planning.route.ways import Ways

MOST_CHESTS = 16  # for more, walks are only charged singly. Chosen: the paths of 16 take 0.1 s
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class _Branch:
    """Chests that are gone to and chests that are not; the others are undecided."""

    gone_to: frozenset[int]
    left_out: frozenset[int]


class _Walks:
    """The shortest path from the console through every set of chests [min]."""

    def __init__(self, ways: Ways, chests: Sequence[str]) -> None:
        count_of = len(chests)
        walk = np.array([[ways.minutes(a, b) for b in chests] for a in chests])
        # a chest in between may make a walk shorter that has no name of its own
        for via in range(count_of):
            walk = np.minimum(walk, walk[:, [via]] + walk[[via], :])
        arrive = np.array([ways.minutes(None, chest) for chest in chests])
        ends = np.full((1 << count_of, count_of), np.inf)  # by set and last chest: Held & Karp 1962
        for chest in range(count_of):
            ends[1 << chest, chest] = arrive[chest]
        groups = np.arange(1 << count_of)
        size = sum((groups >> chest & 1 for chest in range(count_of)), np.zeros_like(groups))
        for made in range(1, count_of):
            for chest in range(count_of):
                before = groups[(size == made) & (groups >> chest & 1 == 0)]
                ends[before | 1 << chest, chest] = (ends[before] + walk[:, chest]).min(axis=1)
        self._least: FloatArray = ends.min(axis=1)

    def through(self, chests: frozenset[int]) -> float:
        """Through these, and perhaps others [min]."""
        return float(self._least[sum(1 << c for c in chests)]) if chests else 0.0


def walk_bound(
    problem: Problem, ways: Ways, capacity: int, cost: float, *, known: float, branches: int
) -> float:
    """A lower bound of what any plan leaves, its walks included.

    Parameters
    ----------
    problem : Problem
    ways : Ways
        Of the same organ.
    capacity : int
        Available steps of time.
    cost : float
        What the known plan leaves: a higher bound is of no use.
    known : float
        A bound already known.
    branches : int
        How many branches are evaluated at most.

    Returns
    -------
    float
        Between `known` and `cost`.
    """
    ranks = problem.ranks_once()
    chests = tuple(dict.fromkeys(rank.chest for rank in ranks))
    if known >= cost - _HAIR or len(chests) > MOST_CHESTS:
        return min(known, cost)
    place = {chest: index for index, chest in enumerate(chests)}
    search = _Search(problem, _Walks(ways, chests), capacity, place)
    order = count()
    waiting = [(known, next(order), _Branch(frozenset(), frozenset()))]
    closed = cost
    for _ in range(branches):
        if not waiting or waiting[0][0] >= closed - _HAIR:
            break
        above, _, branch = heapq.heappop(waiting)
        bound, undecided = search.solved(branch)
        bound = max(bound, above)
        if undecided is None:
            closed = min(closed, bound)
            continue
        for part in (
            _Branch(branch.gone_to | {undecided}, branch.left_out),
            _Branch(branch.gone_to, branch.left_out | {undecided}),
        ):
            heapq.heappush(waiting, (bound, next(order), part))
    return min(closed, waiting[0][0]) if waiting else closed


class _Search:
    def __init__(
        self, problem: Problem, walks: _Walks, capacity: int, place: Mapping[str, int]
    ) -> None:
        self._problem, self._walks, self._capacity = problem, walks, capacity
        self._chest_of_visit = {
            problem.visit_of(rank.id): place[rank.chest] for rank in problem.ranks_once()
        }
        self._chest = np.array([place[rank.chest] for rank in problem.ranks], dtype=np.int64)
        self._reference: int | None = None

    def solved(self, branch: _Branch) -> tuple[float, int | None]:
        """The bound of a branch, and the chest to decide next; None if nothing is undecided."""
        beyond = float(self._capacity + 1)
        task = self._problem.task(
            {
                visit: beyond if chest in branch.left_out else 0.0
                for visit, chest in self._chest_of_visit.items()
            }
        )
        left = self._capacity - in_steps(self._walks.through(branch.gone_to))
        if left < 0:
            return np.inf, None
        try:
            chosen = choose(task, left, self._reference)
        except NotEnoughMinutesError:
            return np.inf, None
        self._reference = chosen.reference
        return chosen.bound, self._undecided(branch, task.row(chosen.references).gain, chosen.pipes)

    def _undecided(self, branch: _Branch, gain: FloatArray, pipes: BoolArray) -> int | None:
        gains = np.bincount(self._chest[pipes], gain[pipes])
        used = set(np.flatnonzero(np.bincount(self._chest[pipes])).tolist()) - branch.gone_to
        return max(used, key=lambda chest: float(gains[chest]), default=None)
