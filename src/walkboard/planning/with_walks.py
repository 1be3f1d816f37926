"""Choosing and walking alternately: the choice pays for the walks, the walks follow the choice."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, count

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.organ.model import Organ
from walkboard.planning.arrays import BoolArray
from walkboard.planning.choose.certify import Chosen, choose, must_steps
from walkboard.planning.choose.problem import Problem
from walkboard.planning.choose.task import Task
from walkboard.planning.minutes import RANK_MINUTES, in_minutes, in_steps
from walkboard.planning.route.order import reference_rank
from walkboard.planning.route.shortest import BEAMS
from walkboard.planning.route.ways import QUICK, Leg, Round, Visit, Way, Ways, Weather, Work
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.walk_bound import walk_bound

_FREE_TURNS = 3  # of choosing and walking; then the walks charged may only rise
_HAIR = 1e-9
_EVERY_SET = 6  # visits or fewer: every set of them is tried, 63 choices at most. Chosen.
_BRANCHES = 60  # of the bound of a plan that is adopted; more gain little on the bench's organs
_PASSES = 2  # over all visits, each removed or added; more found nothing on the bench's organs


@dataclass(frozen=True, slots=True)
class Outcome:
    """A choice and its way through the case."""

    task: Task
    chosen: Chosen
    way: Way
    used: int

    @property
    def legs(self) -> tuple[Leg, ...]:
        """The walks."""
        return self.way.legs

    def picked(self, problem: Problem) -> list[PipeOffset]:
        """The pipes chosen."""
        return problem.picked(self.chosen.pipes)


def choose_and_walk(
    organ: Organ,
    problem: Problem,
    capacity: int,
    ways: Ways | None = None,
    *,
    weather: Weather | None = None,
    beams: Sequence[int] = BEAMS,
    freely: Problem | None = None,
) -> Outcome:
    """Choose with the walks charged, route the choice, and repeat until both agree.

    Parameters
    ----------
    organ : Organ
    problem : Problem
    capacity : int
        Available steps of time.
    ways : Ways, optional
        Ways of that organ.
    weather : Weather, optional
        With it, reeds are reached when the air is nearest the event's.
    beams : sequence of int
        How far the final way is proved; see `walkboard.planning.route.shortest`.
    freely : Problem, optional
        The same with fewer requirements: the bound then holds for every choice that meets those.

    Raises
    ------
    NotEnoughMinutesError
        If the required work does not fit even with only its own walks.
    """
    walker = _Walker(organ, problem, ways or Ways(organ), weather or Weather())
    try:
        found = walker.settle(capacity, walker.likely(), beams)
    except NotEnoughMinutesError:
        if problem.must is None:
            raise
        found = walker.bare(capacity, beams)
    if beams != QUICK:
        found = walker.improved(found, capacity, beams)
    if freely is not None:
        walker = _Walker(organ, freely, ways or Ways(organ), weather or Weather())
    return walker.bounded(found, capacity, branches=0 if beams == QUICK else _BRANCHES)


def _every_set(visits: Collection[Visit]) -> Iterator[frozenset[Visit]]:
    ordered = sorted(visits)
    for count_made in range(1, len(ordered) + 1):
        yield from map(frozenset, combinations(ordered, count_made))


class _Walker:
    def __init__(self, organ: Organ, problem: Problem, ways: Ways, weather: Weather) -> None:
        self._problem, self._ways, self._weather = problem, ways, weather
        self._panels = {chest.id: chest.minutes for chest in organ.chests}
        reference = reference_rank(organ)
        self._first = reference.chest if reference else None
        ranks = problem.ranks_once()
        visits = [problem.visit_of(rank.id) for rank in ranks]
        self._visits = set(visits)
        number = {rank.id: index for index, rank in enumerate(ranks)}
        self._rank_of = np.array([number[rank.id] for rank in problem.ranks], dtype=np.int64)
        self._visit_of_rank = visits

    def likely(self) -> BoolArray:
        """Pipes of the first way: the required ones, or all."""
        problem = self._problem
        if problem.must is None:
            return np.ones(len(problem.ranks), dtype=np.bool_)
        must: BoolArray = problem.must[int(np.argmin(problem.untouched))]
        return must

    def settle(self, capacity: int, likely: BoolArray, beams: Sequence[int]) -> Outcome:
        """Alternate, starting from a way through these pipes."""
        problem, ways = self._problem, self._ways
        charges = ways.charges(self._way(likely, QUICK).legs, self._visits)
        start: int | None = None
        for turn in count():
            task = problem.task(charges)
            chosen = choose(task, capacity, start)
            start = chosen.reference
            way = self._way(chosen.pipes, QUICK)
            walked = ways.charges(way.legs, self._visits)
            if all(walked[leg.visit] <= charges[leg.visit] + 1e-9 for leg in way.legs) and (
                turn >= _FREE_TURNS or all(walked[v.visit] == charges[v.visit] for v in way.legs)
            ):
                return self._outcome(task, chosen, way, charges, beams)
            if turn < _FREE_TURNS:
                charges = walked
            else:  # two ways alternate: charge the longer of the two, which must converge
                charges = {visit: max(charges[visit], walked[visit]) for visit in self._visits}
        raise AssertionError("charges that only rise, and are bounded by some walk, converge")

    def bare(self, capacity: int, beams: Sequence[int]) -> Outcome:
        """Only the chests with required work, at the reference where that takes least time."""
        problem = self._problem
        way = self._barest(beams)
        walked = {leg.visit: leg.minutes for leg in way.legs}
        beyond = capacity + 1
        charges = {visit: walked.get(visit, float(beyond)) for visit in self._visits}
        task = problem.task(charges)
        chosen = choose(task, capacity)
        return self._outcome(task, chosen, way, charges, beams)

    def improved(self, outcome: Outcome, capacity: int, beams: Sequence[int]) -> Outcome:
        """The best result of every set of visits, or of removing or adding one at a time.

        With fixed visits the walk is fixed too, so the choice is exact; only the set of visits is
        searched: all sets if there are few visits, else step by step.
        """
        best, known = outcome, set[frozenset[Visit]]()
        if len(self._visits) <= _EVERY_SET:
            for made in _every_set(self._visits):
                best = self._among(made, capacity, best, beams) or best
            return best
        for _ in range(_PASSES):
            visited = frozenset(leg.visit for leg in best.way.legs)
            known.add(visited)
            before = best
            for visit in sorted(self._visits):
                made = visited ^ {visit}
                if made in known or not made:
                    continue
                known.add(made)
                found = self._among(made, capacity, best, beams)
                if found is not None:
                    best = found
            if best is before:
                break
        return best

    def _among(
        self, made: frozenset[Visit], capacity: int, best: Outcome, beams: Sequence[int]
    ) -> Outcome | None:
        """The best choice among these visits, if better than the best known."""
        problem = self._problem
        way = self._ways.round_trip(made, self._first, beams=QUICK)
        left = capacity - sum(in_steps(leg.minutes) for leg in way.legs)
        beyond = float(capacity + 1)
        task = problem.task({v: 0.0 if v in made else beyond for v in self._visits})
        try:
            chosen = choose(task, left, best.chosen.reference)
        except NotEnoughMinutesError:
            return None
        if chosen.cost >= best.chosen.cost - _HAIR or not chosen.pipes.any():
            return None
        way = self._way(chosen.pipes, QUICK)
        charges = self._ways.charges(way.legs, self._visits)
        found = self._outcome(problem.task(charges), chosen, way, charges, beams)
        return found if found.used <= capacity else None

    def bounded(self, outcome: Outcome, capacity: int, *, branches: int) -> Outcome:
        """The same with a bound that holds for every choice of pipes, pitch and way together.

        Tuning at a chest requires walking there, over at least the shortest walk that ends there.
        The best choice with only that charged is a lower bound for any plan; branches raise it.
        """
        chests = {visit.chest for visit in self._visits}
        nearest = {
            chest: min(
                self._ways.minutes(start, chest)
                for start in (None, *(self._ways.chests))
                if start != chest
            )
            for chest in chests
        }
        task = self._problem.task(dict.fromkeys(self._visits, 0.0), arrive=nearest)
        bound = choose(task, capacity, outcome.chosen.reference).bound
        cost = outcome.chosen.cost
        bound = walk_bound(
            self._problem, self._ways, capacity, cost, known=bound, branches=branches
        )
        return replace(outcome, chosen=replace(outcome.chosen, bound=bound))

    def _barest(self, beams: Sequence[int]) -> Way:
        """The way at the reference where the required work takes least time, walks included.

        References are tried in order of their time without walks, until no walk is short enough to
        matter.
        """
        problem = self._problem
        assert problem.must is not None
        without = must_steps(problem.task(dict.fromkeys(self._visits, 0.0)))
        found: dict[tuple[str, ...], Way] = {}
        best: tuple[int, Way] | None = None
        for reference in np.argsort(without, kind="stable"):
            if best is not None and int(without[reference]) >= best[0]:
                break
            must: BoolArray = problem.must[reference]
            ranks = problem.ranks_of(must)
            if ranks not in found:
                found[ranks] = self._way(must, beams)
            way = found[ranks]
            steps = int(without[reference]) + sum(in_steps(leg.minutes) for leg in way.legs)
            if best is None or steps < best[0]:
                best = steps, way
        assert best is not None
        return best[1]

    def _way(self, chosen: BoolArray, beams: Sequence[int]) -> Way:
        work = self._work(chosen)
        return self._ways.round_trip(
            work, self._first, work=work, weather=self._weather, beams=beams
        )

    def _work(self, chosen: BoolArray) -> dict[Visit, Work]:
        """The work of each visit; panels are opened at the first."""
        steps = np.bincount(
            self._rank_of[chosen], self._problem.steps[chosen], minlength=len(self._visit_of_rank)
        )
        counts = np.bincount(self._rank_of[chosen], minlength=len(self._visit_of_rank))
        work: dict[Visit, Work] = {}
        opened: set[str] = set()
        ranked = sorted(zip(self._visit_of_rank, steps, counts, strict=True), key=lambda r: r[0])
        for visit, taken, pipes in ranked:
            if not pipes:
                continue
            minutes = in_minutes(int(taken)) + RANK_MINUTES
            if visit.chest not in opened:
                opened.add(visit.chest)
                minutes += self._panels[visit.chest]
            before = work.get(visit, Work(0.0))
            reeds = int(pipes) if visit.round is Round.REEDS else 0
            work[visit] = Work(before.minutes + minutes, before.reeds + reeds)
        return work

    def _outcome(
        self,
        task: Task,
        chosen: Chosen,
        way: Way,
        charges: Mapping[Visit, float],
        beams: Sequence[int],
    ) -> Outcome:
        """Find the shortest provable way; one longer than the one charged is rejected."""
        if beams != QUICK and way.cost - way.bound_cost > 1e-6:
            proved = self._way(chosen.pipes, beams)
            if proved.minutes <= way.minutes + 1e-9:
                way = proved
        charged = sum(in_steps(charges[leg.visit]) for leg in way.legs)
        walked = sum(in_steps(leg.minutes) for leg in way.legs)
        return Outcome(task, chosen, way, task.time_of(chosen.pipes) - charged + walked)
