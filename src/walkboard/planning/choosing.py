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
from walkboard.planning.bound import Priced, best_price, worth
from walkboard.planning.fixing import settle
from walkboard.planning.knapsack import choose_exactly
from walkboard.planning.task import Task

_ROUNDING = 1e-10  # relative; sums of some thousand doubles differ by less
_FIRST_SLACK_STEPS, _SLACK_GROWS = 4.0, 4.0


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
    solved : int
        How many references had to be solved exactly.
    """

    reference: int
    pipes: BoolArray
    cost: float
    bound: float
    solved: int


def choose(task: Task, capacity: int, start: int | None = None) -> Chosen:
    """Pipes and reference that leave the least badness within the capacity.

    Parameters
    ----------
    task : Task
    capacity : int
        Steps of `walkboard.planning.task.STEP_MINUTES` that there are.
    start : int, optional
        Index of a reference that is likely to be the best; saves time, changes nothing.
    """
    pipes = task.gain.shape[1]
    nothing = np.zeros(pipes, dtype=np.bool_)
    first = int(np.argmin(task.untouched))
    if pipes == 0 or capacity <= 0:
        least = float(task.untouched[first])
        return Chosen(first, nothing, least, least, 0)
    hair = _ROUNDING * (float(np.max(task.untouched)) + 1.0)
    prices: dict[int, Priced] = {}

    def priced(reference: int) -> Priced:
        if reference not in prices:
            prices[reference] = best_price(task.gain[reference], task.steps, task.levels, capacity)
        return prices[reference]

    bounds = _bounds(task, capacity, priced(first if start is None else start).price)
    best = Chosen(first, nothing, float(task.untouched[first]), -np.inf, 0)
    solved = 0
    while True:
        reference = int(np.argmin(bounds))
        if bounds[reference] >= best.cost - hair:
            break
        if reference not in prices:
            own = priced(reference)
            if not solved:  # nearer to the best reference, a better price for all of them
                bounds = np.maximum(bounds, _bounds(task, capacity, own.price))
            bounds[reference] = float(task.untouched[reference]) - own.most_gain
            continue
        cost, chosen = _solve(
            task, capacity, reference, priced=priced(reference), known=best.cost, hair=hair
        )
        solved += 1
        bounds[reference] = np.inf
        if cost < best.cost:
            best = Chosen(reference, chosen, cost, -np.inf, solved)
    bound = min(best.cost, float(bounds.min()))
    return Chosen(best.reference, best.pipes, best.cost, bound, solved)


def _bounds(task: Task, capacity: int, price: float) -> FloatArray:
    """Lower bound of the cost at every reference, with one price for all."""
    most = worth(task.gain, task.steps, task.levels, price) + price * capacity
    bounds: FloatArray = task.untouched - most
    return bounds


def _solve(
    task: Task, capacity: int, reference: int, *, priced: Priced, known: float, hair: float
) -> tuple[float, BoolArray]:
    """Least cost at one reference, or a cost not below `known` where it has nothing better.

    The optimum usually lies within the worth of a few steps of its bound. So that much slack is
    tried first, which leaves few pipes open; if what is found is within it, nothing better was shut
    out. Otherwise the slack grows, up to what the best plan known needs.
    """
    gain = task.gain[reference]
    untouched = float(task.untouched[reference])
    at = priced.at_best
    bound = untouched - (float(at.value) + priced.price * capacity)
    chosen = _fill(task, gain, capacity, priced)
    cost = task.cost_of(reference, chosen)
    slack = _FIRST_SLACK_STEPS * priced.price
    while True:
        enough = min(known, cost) - bound
        slack = min(slack, enough)
        settled = settle(at, task.levels, slack + hair)
        choice = choose_exactly(gain, task.steps, task.levels, capacity, settled)
        if untouched - choice.gain < cost:
            chosen, cost = choice.chosen, task.cost_of(reference, choice.chosen)
        if slack >= enough or cost <= bound + slack + hair:
            return cost, chosen
        slack = _SLACK_GROWS * max(slack, hair)


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
