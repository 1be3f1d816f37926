"""The proved choice over all references.

Every reference has a lower bound of its cost (`bound`). References are taken in order of their
bounds; each is solved exactly (`solve`) until the bound of the next is no lower than the best cost
found. None of the rest can be better: the choice is proved optimal on the grid of references. If
parts of the organ may differ within a limit, every set of references within the limit is a
candidate (`walkboard.planning.choose.tied`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.choose import tied
from walkboard.planning.choose.bound import Priced, best_price, worth_of_groups
from walkboard.planning.choose.solve import solve
from walkboard.planning.choose.task import Task
from walkboard.planning.minutes import STEP_MINUTES

_ROUNDING = 1e-10  # relative; sums of some thousand doubles differ by less


@dataclass(frozen=True, slots=True)
class Chosen:
    """The choice with its proof.

    Attributes
    ----------
    references : tuple of int
        Index of the reference of each part of the organ; a single one if all share it.
    pipes : (n,) array of bool
        What to tune.
    cost : float
        Remaining badness.
    bound : float
        Lower bound of the remaining badness over all references.
    solved : int
        How many references had to be solved exactly.
    """

    references: tuple[int, ...]
    pipes: BoolArray
    cost: float
    bound: float
    solved: int

    @property
    def reference(self) -> int:
        """Index of the first part's reference."""
        return self.references[0]


def choose(task: Task, capacity: int, start: int | None = None) -> Chosen:
    """Pipes and reference that leave the least badness within the capacity.

    Parameters
    ----------
    task : Task
    capacity : int
        Available steps of `walkboard.planning.minutes.STEP_MINUTES`.
    start : int, optional
        Index of a reference that is probably best; saves time, changes nothing.

    Raises
    ------
    NotEnoughMinutesError
        If the required pipes do not fit at any reference; says how many minutes are missing.
    """
    needs = must_steps(task)
    parts = task.parts
    one_for_all = parts is None or parts.within == 0 or len(parts.starts) == 1
    if needs.min() > capacity and one_for_all:
        raise NotEnoughMinutesError((int(needs.min()) - capacity) * STEP_MINUTES)
    if task.gain.shape[1] == 0 or capacity <= 0:
        return _untouched(task, needs)
    search = _Search(task, capacity, needs)
    best = search.one_for_all(start)
    return best if one_for_all else search.tied(best)


def must_steps(task: Task) -> IntArray:
    """Steps needed for the required pipes at each reference, set-ups included."""
    references = len(task.references_cents)
    if task.must is None:
        return np.zeros(references, dtype=np.int64)
    total: IntArray = tied.must_by_group(task).sum(axis=1)
    return total


def _untouched(task: Task, needs: IntArray) -> Chosen:
    nothing = np.zeros(task.gain.shape[1], dtype=np.bool_)
    if task.parts is not None and task.parts.within:
        idle = np.where(tied.needs_by_part(task) == 0, task.parts.untouched, np.inf)
        references, least = tied.least(idle, task.parts.within)
    else:
        idle = np.where(needs == 0, task.untouched, np.inf)
        references = (int(np.argmin(idle)),)
        least = float(idle[references[0]])
    if not np.isfinite(least):
        raise NotEnoughMinutesError(int(needs.min()) * STEP_MINUTES)
    return Chosen(references, nothing, least, least, 0)


class _Search:
    """References in order of their bounds, each solved until none can be better."""

    def __init__(self, task: Task, capacity: int, needs: IntArray) -> None:
        self._task, self._capacity = task, capacity
        self._hair = _ROUNDING * (float(np.max(task.untouched)) + 1.0)
        self._needs = needs
        self._prices: dict[tuple[int, ...], Priced] = {}
        self._solved = 0

    def one_for_all(self, start: int | None) -> Chosen:
        """The best reference for the whole organ."""
        task = self._task
        parts = 1 if task.parts is None else len(task.parts.starts)
        feasible = self._needs <= self._capacity
        nothing = np.zeros(task.gain.shape[1], dtype=np.bool_)
        idle = np.where(self._needs == 0, task.untouched, np.inf)
        first = int(np.argmin(idle)) if np.isfinite(idle).any() else int(np.argmin(self._needs))
        best = Chosen((first,) * parts, nothing, float(idle[first]), -np.inf, 0)
        if not feasible.any():
            return best
        if start is None or not feasible[start]:
            start = first if feasible[first] else int(np.argmin(self._needs))
        bounds = np.where(feasible, self._bounds(self._priced((start,) * parts).price), np.inf)
        while True:
            reference = int(np.argmin(bounds))
            if bounds[reference] >= best.cost - self._hair:
                break
            at = (reference,) * parts
            if at not in self._prices:
                own = self._priced(at)
                if not self._solved:  # closer to the best reference, a better price for all of them
                    bounds = np.maximum(bounds, self._bounds(own.price))
                bounds[reference] = float(task.untouched[reference]) - own.most_gain
                continue
            best = self._better(at, best)
            bounds[reference] = np.inf
        bound = min(best.cost, float(bounds.min()))
        return Chosen(best.references, best.pipes, best.cost, bound, self._solved)

    def tied(self, best: Chosen) -> Chosen:
        """The best references for all parts, no two further apart than the tie."""
        task, parts = self._task, self._task.parts
        assert parts is not None
        if not np.isfinite(best.cost):
            at = tied.least_needs(task)
            missing = tied.needs_of(task, at) - self._capacity
            if missing > 0:
                raise NotEnoughMinutesError(missing * STEP_MINUTES)
            best = self._better(at, best)
        price = self._priced(best.references).price
        # the best set of references by these bounds gives a better plan, and a better price
        likely, _ = tied.least(self._part_bounds(price), parts.within)
        if likely != best.references and tied.needs_of(task, likely) <= self._capacity:
            price = self._priced(likely).price
            best = self._better(likely, best)
        paid = price * self._capacity
        limit = best.cost - self._hair + paid
        for at, total in tied.below(self._part_bounds(price), parts.within, limit):
            if total - paid >= best.cost - self._hair:
                break
            if at == best.references or tied.needs_of(task, at) > self._capacity:
                continue
            own = task.row(at).untouched - self._priced(at).most_gain
            if own < best.cost - self._hair:
                best = self._better(at, best)
        return Chosen(best.references, best.pipes, best.cost, best.cost, self._solved)

    def _priced(self, at: tuple[int, ...]) -> Priced:
        if at not in self._prices:
            task, row = self._task, self._task.row(at)
            self._prices[at] = best_price(
                row.gain, task.steps, task.levels, self._capacity, must=row.must
            )
        return self._prices[at]

    def _bounds(self, price: float) -> FloatArray:
        """Lower bound of the cost at every reference, with one price for all."""
        task = self._task
        most = worth_of_groups(task.gain, task.steps, task.levels, price, task.must).sum(axis=-1)
        bounds: FloatArray = task.untouched - most - price * self._capacity
        return bounds

    def _part_bounds(self, price: float) -> FloatArray:
        """Lower bound of each part's cost at each reference, its time paid; (k, parts)."""
        task, parts = self._task, self._task.parts
        assert parts is not None
        most = worth_of_groups(task.gain, task.steps, task.levels, price, task.must)
        bounds: FloatArray = parts.untouched - np.add.reduceat(most, parts.starts, axis=1)
        return bounds

    def _better(self, at: tuple[int, ...], best: Chosen) -> Chosen:
        """The best plan known after solving these references exactly."""
        task = self._task
        cost, pipes = solve(
            task,
            task.row(at),
            self._capacity,
            priced=self._priced(at),
            known=best.cost,
            hair=self._hair,
        )
        self._solved += 1
        if cost < best.cost:
            return Chosen(at, pipes, cost, -np.inf, self._solved)
        return best
