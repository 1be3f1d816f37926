"""The certified choice over all references.

Every reference has a lower bound of its cost (`walkboard.planning.bound`). References are taken in
the order of their bounds; each is solved exactly, on the pipes that `walkboard.planning.fixing`
leaves open, until the bound of the next is no lower than the best cost found. What is left unsolved
can then hold nothing better: the choice is proved optimal on the grid of references.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.bound import Priced, best_price, relax
from walkboard.planning.fixing import settle
from walkboard.planning.knapsack import choose_exactly
from walkboard.planning.task import Task

_ROUNDING = 1e-10  # relative; sums of some thousand doubles differ by less


@dataclass(frozen=True, slots=True)
class Chosen:
    """The choice with its certificate.

    Attributes
    ----------
    reference : int
        Index of the reference.
    pipes : (n,) array of bool
        What to tune.
    cost : float
        Badness left.
    bound : float
        No choice at any of the references leaves less.
    price : float
        Badness that one more step of time would remove, about.
    solved : int
        How many references had to be solved exactly.
    """

    reference: int
    pipes: BoolArray
    cost: float
    bound: float
    price: float
    solved: int


def choose(task: Task, capacity: int, price: float | None = None) -> Chosen:
    """Pipes and reference that leave the least badness within the capacity.

    Parameters
    ----------
    task : Task
    capacity : int
        Steps of `walkboard.planning.task.STEP_MINUTES` that there are.
    price : float, optional
        Where to start the search for the price of a step; saves time, changes nothing.
    """
    references, pipes = task.gain.shape
    nothing = np.zeros(pipes, dtype=np.bool_)
    first = int(np.argmin(task.untouched))
    if pipes == 0 or capacity <= 0:
        least = float(task.untouched[first])
        return Chosen(first, nothing, least, least, 0.0, 0)
    scale = float(np.max(task.untouched)) + 1.0
    hair = _ROUNDING * scale
    if price is None:
        price = best_price(task.gain[first], task.steps, task.levels, capacity).price
    bounds = _bounds(task, capacity, price)
    sharp = np.zeros(references, dtype=np.bool_)
    best = Chosen(first, nothing, float(task.untouched[first]), -np.inf, price, 0)
    solved = 0
    while True:
        reference = int(np.argmin(bounds))
        if bounds[reference] >= best.cost - hair:
            break
        priced = best_price(task.gain[reference], task.steps, task.levels, capacity)
        if not sharp[reference]:
            sharp[reference] = True
            if not solved:  # a better price for all of them
                bounds = np.maximum(bounds, _bounds(task, capacity, priced.price))
            bounds[reference] = max(
                bounds[reference], float(task.untouched[reference]) - priced.most_gain
            )
            if bounds[reference] > bounds.min() or bounds[reference] >= best.cost - hair:
                continue
        cost, chosen = _solve(task, capacity, reference, priced, best.cost, hair)
        solved += 1
        bounds[reference] = np.inf
        if cost < best.cost:
            best = Chosen(reference, chosen, cost, -np.inf, priced.price, solved)
    bound = min(best.cost, float(bounds.min()))
    return Chosen(best.reference, best.pipes, best.cost, bound, best.price, solved)


def _bounds(task: Task, capacity: int, price: float) -> FloatArray:
    """Lower bound of the cost at every reference, with one price for all."""
    at = relax(task.gain, task.steps, task.levels, price)
    bounds: FloatArray = task.untouched - (at.value + price * capacity)
    return bounds


def _solve(
    task: Task, capacity: int, reference: int, priced: Priced, known: float, hair: float
) -> tuple[float, BoolArray]:
    """Least cost at one reference, or a cost not below `known` where it has nothing better."""
    gain = task.gain[reference]
    untouched = float(task.untouched[reference])
    filled = _fill(task, gain, capacity, priced)
    cost = task.cost_of(reference, filled)
    known = min(known, cost)
    at = priced.at_best
    slack = float(at.value) + priced.price * capacity - (untouched - known) + hair
    settled = settle(at, task.levels, slack)
    choice = choose_exactly(gain, task.steps, task.levels, capacity, settled)
    if untouched - choice.gain < cost:
        return task.cost_of(reference, choice.chosen), choice.chosen
    return cost, filled


def _fill(task: Task, gain: FloatArray, capacity: int, priced: Priced) -> BoolArray:
    """A good choice to start from: the relaxed one that fits, filled up with what still fits."""
    worth = [margin > 0.0 for margin in priced.thrifty.margins]
    reached = worth[-1]
    for level, inner in zip(task.levels[::-1], worth[-2::-1], strict=True):
        reached = inner & np.repeat(reached, level.sizes(len(inner)))
    left = capacity - task.time_of(reached)
    ranks = task.levels[0]
    at_hand = np.logical_or.reduceat(reached, ranks.starts)
    candidates = np.repeat(at_hand, ranks.sizes(len(gain))) & ~reached & (gain > 0.0)
    order = np.flatnonzero(candidates)
    for pipe in order[np.argsort(-gain[order] / task.steps[order], kind="stable")]:
        if task.steps[pipe] <= left:
            reached[pipe] = True
            left -= int(task.steps[pipe])
    return reached
