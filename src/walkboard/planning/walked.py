"""Choosing and walking by turns: the choice pays for the walks, the walks follow the choice."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Organ
from walkboard.planning.arrays import BoolArray
from walkboard.planning.choosing import Chosen, choose, must_steps
from walkboard.planning.minutes import in_steps
from walkboard.planning.ordering import mixtures_after, reference_rank
from walkboard.planning.problem import Problem
from walkboard.planning.standing import Standing
from walkboard.planning.task import Task
from walkboard.planning.walking import Leg, Visit, Ways

_FREE_TURNS = 3  # of choosing and walking; then the walks charged may only rise


@dataclass(frozen=True, slots=True)
class Outcome:
    """A choice and the way through the case that it takes."""

    task: Task
    chosen: Chosen
    legs: tuple[Leg, ...]
    used: int

    def picked(self, problem: Problem) -> list[Standing]:
        """The pipes chosen."""
        return problem.picked(self.chosen.pipes)


def choose_and_walk(
    organ: Organ, problem: Problem, capacity: int, ways: Ways | None = None
) -> Outcome:
    """Choose with the walks charged, walk what was chosen, and again until both agree.

    Raises
    ------
    NotEnoughMinutesError
        When what must be done does not fit, with the walks that it alone would take.
    """
    walker = _Walker(organ, problem, ways or Ways(organ))
    try:
        return walker.settle(capacity, walker.likely())
    except NotEnoughMinutesError:
        if problem.must is None:
            raise
        return walker.bare(capacity)


class _Walker:
    def __init__(self, organ: Organ, problem: Problem, ways: Ways) -> None:
        self._organ, self._problem, self._ways = organ, problem, ways
        self._role = problem.situation.layout.role
        reference = reference_rank(organ)
        self._first = reference.chest if reference else None
        self._visits = {problem.visit_of(rank.id) for rank in problem.ranks_once()}

    def likely(self) -> Sequence[str]:
        """Ranks of which the first way is made: what must be done, or everything."""
        problem = self._problem
        if problem.must is None:
            return [rank.id for rank in problem.ranks_once()]
        return problem.ranks_of(problem.must[int(np.argmin(problem.untouched))])

    def settle(self, capacity: int, likely: Sequence[str]) -> Outcome:
        """Turn by turn from a first way over these ranks."""
        problem, ways = self._problem, self._ways
        charges = ways.charges(self._legs(likely), self._visits)
        start: int | None = None
        for turn in count():
            task = problem.task(charges)
            chosen = choose(task, capacity, start)
            start = chosen.reference
            legs = self._legs(problem.ranks_of(chosen.pipes))
            walked = ways.charges(legs, self._visits)
            if all(walked[leg.visit] <= charges[leg.visit] + 1e-9 for leg in legs) and (
                turn >= _FREE_TURNS or all(walked[v.visit] == charges[v.visit] for v in legs)
            ):
                return _outcome(task, chosen, legs, charges)
            if turn < _FREE_TURNS:
                charges = walked
            else:  # two ways take turns: charge the longer of what each says, which must settle
                charges = {visit: max(charges[visit], walked[visit]) for visit in self._visits}
        raise AssertionError("charges that only rise, and are as long as some walk, settle")

    def bare(self, capacity: int) -> Outcome:
        """Only the chests where something must be done, where that takes the least time."""
        problem = self._problem
        assert problem.must is not None
        everywhere = self._ways.charges((), self._visits)
        least = int(np.argmin(must_steps(problem.task(everywhere))))
        must: BoolArray = problem.must[least]
        legs = self._legs(problem.ranks_of(must))
        walked = {leg.visit: leg.minutes for leg in legs}
        beyond = capacity + 1
        charges = {visit: walked.get(visit, float(beyond)) for visit in self._visits}
        task = problem.task(charges)
        chosen = choose(task, capacity)
        return _outcome(task, chosen, legs, charges)

    def _legs(self, ranks: Sequence[str]) -> tuple[Leg, ...]:
        visits = {self._problem.visit_of(rank) for rank in ranks}
        return self._ways.round_trip(
            visits, self._first, mixtures_after(self._organ, ranks, self._role)
        )


def _outcome(
    task: Task, chosen: Chosen, legs: tuple[Leg, ...], charges: dict[Visit, float]
) -> Outcome:
    saved = sum(in_steps(charges[v.visit]) - in_steps(v.minutes) for v in legs)
    return Outcome(task, chosen, legs, task.time_of(chosen.pipes) - saved)
