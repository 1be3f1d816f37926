"""The exact choice at one reference, over the pipes that no bound has settled.

The optimum is usually within the worth of a few steps of its bound. So that much slack is tried
first, which leaves few pipes open; if the solution is within it, nothing better was excluded.
Otherwise the slack grows, up to what the best known plan needs.
"""

from __future__ import annotations

import numpy as np

from walkboard.planning.arrays import BoolArray
from walkboard.planning.choose.bound import Priced
from walkboard.planning.choose.fixing import settle
from walkboard.planning.choose.knapsack import choose_exactly
from walkboard.planning.choose.task import Row, Task

_FIRST_SLACK_STEPS, _SLACK_GROWS = 4.0, 4.0


def solve(
    task: Task, row: Row, capacity: int, *, priced: Priced, known: float, hair: float
) -> tuple[float, BoolArray]:
    """Least cost at one reference, or a cost not below `known` if there is nothing better.

    Parameters
    ----------
    task : Task
    row : Row
        A row of the task; what must be done in it fits in the capacity.
    capacity : int
    priced : Priced
        Prices of that row.
    known : float
        Cost of the best known plan.
    hair : float
        Largest rounding error of a sum of costs.
    """
    at = priced.at_best
    bound = row.untouched - (float(at.value) + priced.price * capacity)
    chosen = _fill(task, row, capacity, priced)
    cost = row.cost_of(chosen)
    slack = _FIRST_SLACK_STEPS * priced.price
    while True:
        enough = min(known, cost) - bound
        slack = min(slack, enough)
        settled = settle(at, task.levels, slack + hair)
        choice = choose_exactly(row.gain, task.steps, task.levels, capacity, settled)
        if row.untouched - choice.gain < cost:
            chosen, cost = choice.chosen, row.cost_of(choice.chosen)
        if slack >= enough or cost <= bound + slack + hair:
            return cost, chosen
        slack = _SLACK_GROWS * max(slack, hair)


def _fill(task: Task, row: Row, capacity: int, priced: Priced) -> BoolArray:
    """A good starting choice: the relaxed one that fits, filled up with whatever else fits."""
    thrifty = priced.thrifty
    reached = thrifty.taken(len(task.levels))
    for depth in range(len(task.levels) - 1, -1, -1):
        inner = thrifty.taken(depth)
        reached = inner & np.repeat(reached, task.levels[depth].sizes(len(inner)))
    left = capacity - task.time_of(reached)
    ranks = task.levels[0]
    at_hand = np.logical_or.reduceat(reached, ranks.starts)
    candidates = np.repeat(at_hand, ranks.sizes(len(reached))) & ~reached & (row.gain > 0.0)
    order = np.flatnonzero(candidates)
    for pipe in order[np.argsort(-row.gain[order] / task.steps[order], kind="stable")]:
        if task.steps[pipe] <= left:
            reached[pipe] = True
            left -= int(task.steps[pipe])
    return reached
