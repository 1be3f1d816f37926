"""The exact choice at one reference: a knapsack with nested set-ups.

For every number of minutes up to the limit, the best gain so far is carried along: into a chest
(less its set-up), into a rank, over each pipe of the rank with or without it, and out again,
keeping at each step the better of 'visited' and 'skipped'. Exact, by dynamic programming (Bellman
1957; a set-up knapsack as in Chajakis & Guignard 1994, INFORMS J. Comput. 6:223, nested here to any
depth). Time and memory grow with pipes × steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.choose.fixing import Settled
from walkboard.planning.choose.task import Level


@dataclass(frozen=True, slots=True)
class Choice:
    """The best choice at one reference; gain is −inf if the settled part does not fit."""

    chosen: BoolArray
    gain: float


def choose_exactly(
    gain: FloatArray,
    steps: IntArray,
    levels: tuple[Level, ...],
    capacity: int,
    settled: Settled,
) -> Choice:
    """Best choice of pipes for one reference within the capacity.

    Parameters
    ----------
    gain : (n,) array
    steps : (n,) array of int
    levels : tuple of Level
        Innermost first.
    capacity : int
    settled : Settled
        What is already settled; must exclude every pipe without gain.
    """
    return _Walkthrough(gain, steps, levels, capacity, settled).best()


class _Walkthrough:
    """One pass through the groups, remembering the decisions for the way back."""

    def __init__(
        self,
        gain: FloatArray,
        steps: IntArray,
        levels: tuple[Level, ...],
        capacity: int,
        settled: Settled,
    ) -> None:
        self._gain, self._steps, self._levels = gain, steps, levels
        self._settled = settled
        pipes = len(gain)
        counts = [pipes, *(len(level.starts) for level in levels)]
        self._ends = [
            np.append(level.starts[1:], counts[depth]) for depth, level in enumerate(levels)
        ]
        # a group with every pipe excluded is skipped; one with an included pipe is visited
        self._live: list[BoolArray] = [~settled.outside]
        opened: list[BoolArray] = [settled.inside]
        for depth, level in enumerate(levels):
            self._live.append(np.logical_or.reduceat(self._live[-1], level.starts))
            opened.append(
                np.logical_or.reduceat(opened[-1], level.starts)
                | (settled.opened[depth] & self._live[-1])
            )
        self._opened = opened
        self._outermost = [int(i) for i in np.flatnonzero(self._live[-1])]
        forced = int(steps[settled.inside].sum()) + sum(
            int(level.steps[opened[depth + 1]].sum()) for depth, level in enumerate(levels)
        )
        self._free = capacity - forced
        self._sure_gain = float(gain[settled.inside].sum())
        self._decisions: dict[tuple[int, int], NDArray[np.uint8]] = {}
        # undecided members of each group, in order
        undecided = [self._live[0] & ~settled.inside, *self._live[1:]]
        self._inner = [
            [
                [int(low) + int(i) for i in np.flatnonzero(undecided[depth][low:high])]
                for low, high in zip(level.starts, ends, strict=True)
            ]
            for depth, (level, ends) in enumerate(zip(levels, self._ends, strict=True))
        ]

    def best(self) -> Choice:
        chosen = self._settled.inside.copy()
        if self._free < 0:
            return Choice(chosen, -np.inf)
        best = np.zeros(self._free + 1)
        depth = len(self._levels)
        for group in self._outermost:
            best = self._through(depth, group, best)
        at = self._free
        for group in reversed(self._outermost):
            at = self._back(depth, group, at, chosen)
        return Choice(chosen, self._sure_gain + float(best[self._free]))

    def _through(self, depth: int, member: int, best: FloatArray) -> FloatArray:
        """Best gains after offering one pipe (depth 0) or one group."""
        if depth == 0:
            taken = _later(best, int(self._steps[member]), float(self._gain[member]))
        else:
            open_already = bool(self._opened[depth][member])
            step = 0 if open_already else int(self._levels[depth - 1].steps[member])
            taken = _later(best, step) if step else best
            for inner in self._inner[depth - 1][member]:
                taken = self._through(depth - 1, inner, taken)
            if open_already:
                return taken
        better = taken > best
        self._decisions[depth, member] = np.packbits(better)
        return np.where(better, taken, best)

    def _back(self, depth: int, member: int, at: int, chosen: BoolArray) -> int:
        """Undo one pipe or group from the capacity `at`, marking what was chosen."""
        open_already = depth > 0 and bool(self._opened[depth][member])
        if not open_already:
            packed = self._decisions[depth, member]
            if not (int(packed[at >> 3]) >> (7 - (at & 7))) & 1:
                return at
        if depth == 0:
            chosen[member] = True
            return at - int(self._steps[member])
        for inner in reversed(self._inner[depth - 1][member]):
            at = self._back(depth - 1, inner, at, chosen)
        return at if open_already else at - int(self._levels[depth - 1].steps[member])


def _later(best: FloatArray, step: int, gain: float = 0.0) -> FloatArray:
    """The best gains after spending so many steps for a gain."""
    moved = np.empty_like(best)
    moved[:step] = -np.inf
    np.add(best[: max(len(best) - step, 0)], gain, out=moved[step:])
    return moved
