"""Pipes that pull each other are tuned together, or left together.

Tuning one of the two draws the other along when both sound, so neither is where it should be. A
choice that takes one of a pair is therefore made again with both and with neither of it, and the
better of the two counts, until no pair is torn.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from walkboard.condition.pulling import PullingPair
from walkboard.errors import NotEnoughMinutesError
from walkboard.planning.arrays import BoolArray
from walkboard.planning.choose.problem import Problem
from walkboard.planning.with_walks import Outcome


def choose_together(
    problem: Problem, pairs: Sequence[PullingPair], choose: Callable[[Problem], Outcome]
) -> Outcome:
    """The choice for a problem that tears no pair.

    Parameters
    ----------
    problem : Problem
    pairs : sequence of PullingPair
        Those with a pipe that may not be tuned are left as they fall.
    choose : callable
        Chooses for a problem.

    Raises
    ------
    NotEnoughMinutesError
        As `choose` does, for the problem itself.
    """
    outcome = choose(problem)
    columns = _columns(problem, pairs)
    while True:
        torn = [both for both in columns if outcome.chosen.pipes[list(both)].sum() == 1]
        if not torn:
            return outcome
        columns = [both for both in columns if both not in torn]
        which = np.zeros(len(problem.order), dtype=np.bool_)
        which[[column for both in torn for column in both]] = True
        ways = [_with(problem, which)]
        if problem.must is None or not problem.must[:, which].any():
            ways.append(_without(problem, which))
        tried = []
        for way in ways:
            try:
                tried.append((choose(way), way))
            except NotEnoughMinutesError:
                continue
        if not tried:
            return outcome
        outcome, problem = min(tried, key=lambda one: one[0].chosen.cost)


def _columns(problem: Problem, pairs: Sequence[PullingPair]) -> list[tuple[int, int]]:
    known = problem.situation.known
    column = {known[int(index)].pipe: n for n, index in enumerate(problem.order)}
    return [
        (column[pair.first], column[pair.second])
        for pair in pairs
        if pair.first in column and pair.second in column
    ]


def _with(problem: Problem, which: BoolArray) -> Problem:
    must = np.zeros(problem.gain.shape, dtype=np.bool_) if problem.must is None else problem.must
    return replace(problem, must=must | which)


def _without(problem: Problem, which: BoolArray) -> Problem:
    """The same with these pipes never worth tuning."""
    gain = problem.gain.copy()
    gain[:, which] = -1.0 - float(np.abs(problem.untouched).max())
    return replace(problem, gain=gain)
