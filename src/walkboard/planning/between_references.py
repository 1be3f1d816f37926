"""A bound for every reference, also between the grid's points.

The badness of a pipe left alone is smooth in the reference: its second derivative is nowhere above
2/γ² times its weight (ψ'' = 2γ²(γ² − 3d²)/(γ² + d²)³ is largest at d = 0, and a mean over a
forecast is no larger). So between two references h apart it stays above the straight line between
its ends by no more than κ = w (2/γ²) h²/8 below it, and so does the cost of any choice of pipes,
which is a sum of such curves and constants. A line is lowest at an end: the least cost between two
references is no lower than the lower of two ordinary bounds, at its ends, with every pipe's badness
reduced by its κ. If that is not close enough to the plan's cost, the interval is halved, which
quarters κ, and finally its ends are solved exactly. The charge for moving the reference jumps only
at points of the grid, upward from the organ's pitch, so between two points it is no lower than the
line either.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.choose.bound import best_price, worth_of_groups
from walkboard.planning.choose.problem import Problem
from walkboard.planning.choose.solve import solve
from walkboard.planning.choose.task import Row, Task
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.value.cost import half_width_cents, steepest_bend
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offsets import REFERENCES_CENTS, unheard_pull
from walkboard.planning.with_walks import Outcome

WITHIN = 0.001
_NARROWEST_CENTS = 1e-4
_EXACT_CENTS = (
    0.03  # at this width an interval's ends are solved exactly if the bound is not enough
)
_HAIR = 1e-9


@dataclass(frozen=True, slots=True)
class Continuous:
    """A bound for every reference within reach, and how it was found.

    Attributes
    ----------
    bound : float
        No choice of pipes at any reference leaves less, in the same minutes and walks.
    gap : float
        (cost − bound) over the cost before.
    intervals : int
        Number of references examined.
    """

    bound: float
    gap: float
    intervals: int


def certify(
    problem: Problem,
    outcome: Outcome,
    capacity: int,
    pitches: Mapping[str, DivisionPitch],
    *,
    within: float = WITHIN,
) -> Continuous:
    """Bound a plan with one reference for all against every reference in the reach.

    Parameters
    ----------
    problem : Problem
    outcome : Outcome
        The choice, with one reference for the whole organ.
    capacity : int
        Available steps of time.
    pitches : mapping of division id to DivisionPitch
        Pitches for the same question.
    within : float
        Intervals are halved until the gap is no larger than this, or they are 0.0001 cent wide.

    Notes
    -----
    Pipes that must be tuned at some references only count as free, which can only lower the bound.
    """
    task, cost = outcome.task, outcome.chosen.cost
    before = float(task.untouched.min())
    target = cost - within * before
    row = task.row(outcome.chosen.references)
    price = best_price(row.gain, task.steps, task.levels, capacity, must=row.must).price
    bounder = _Bounder(problem, task, price, capacity, pitches)
    low, high = REFERENCES_CENTS[:-1], REFERENCES_CENTS[1:]
    least, looked = np.inf, 0
    while len(low):
        width = float(high[0] - low[0])
        looked += len(low)
        bounds = np.minimum(bounder.at(low, width), bounder.at(high, width))
        near = bounds < target
        if width <= _EXACT_CENTS:
            for index in np.flatnonzero(near):
                ends = np.array([low[index], high[index]])
                bounds[index] = bounder.exactly(ends, width, target)
            near = bounds < target
        if width < _NARROWEST_CENTS:
            near = np.zeros_like(near)
        least = min(least, float(bounds[~near].min(initial=np.inf)))
        middle = 0.5 * (low[near] + high[near])
        low, high = (
            np.stack([low[near], middle], axis=1).ravel(),
            np.stack([middle, high[near]], axis=1).ravel(),
        )
    bound = min(cost, least)
    return Continuous(bound, (cost - bound) / before if before else 0.0, looked)


class _Bounder:
    """Lagrange's bound at given references, with badness reduced by κ."""

    def __init__(
        self,
        problem: Problem,
        task: Task,
        price: float,
        capacity: int,
        pitches: Mapping[str, DivisionPitch],
    ) -> None:
        self._problem, self._task = problem, task
        self._price, self._capacity, self._pitches = price, capacity, pitches
        situation = problem.situation
        self._left = situation.cost_left[problem.order]
        self._must: BoolArray | None = None
        if task.must is not None:
            self._must = np.logical_and.reduce(task.must, axis=0)
        self._bend: FloatArray = steepest_bend(situation.beat_hz, situation.weight, situation.stray)
        self._unheard_bend = _unheard_bend(situation.layout, problem)

    def at(self, references_cents: FloatArray, width_cents: float) -> FloatArray:
        """Bound at each reference for an adjacent interval of that width."""
        task = self._task
        untouched, gain = self._lowered(references_cents, width_cents)
        must = None if self._must is None else np.broadcast_to(self._must, gain.shape)
        most = worth_of_groups(gain, task.steps, task.levels, self._price, must).sum(axis=-1)
        bound: FloatArray = untouched - most - self._price * self._capacity
        return bound

    def exactly(self, ends_cents: FloatArray, width_cents: float, target: float) -> float:
        """The same at the two ends of an interval, each solved as far as the target asks."""
        task = self._task
        least = np.inf
        for untouched, gain in zip(*self._lowered(ends_cents, width_cents), strict=True):
            row = Row(gain, float(untouched), self._must)
            priced = best_price(gain, task.steps, task.levels, self._capacity, must=self._must)
            bound = float(untouched) - priced.most_gain
            if bound < target:
                bound, _ = solve(task, row, self._capacity, priced=priced, known=np.inf, hair=_HAIR)
            least = min(least, bound)
        return float(least)

    def _lowered(
        self, references_cents: FloatArray, width_cents: float
    ) -> tuple[FloatArray, FloatArray]:
        """Untouched badness and gains with every pipe's badness reduced by its κ."""
        problem = self._problem
        situation = problem.situation
        sag = width_cents**2 / 8.0
        badness = situation.cost_at(references_cents) - self._bend * sag
        pull = unheard_pull(
            situation.layout, self._pitches, situation.place, situation.weights, references_cents
        ).sum(axis=1)
        moving = problem.charge_for_moving(references_cents)
        untouched = badness.sum(axis=1) + pull + moving - self._unheard_bend * sag
        return untouched, np.ascontiguousarray(badness[:, problem.order] - self._left)


def _unheard_bend(layout: Layout, problem: Problem) -> float:
    """Σ w·2/γ² over the flues that were not heard."""
    situation = problem.situation
    flue = layout.flue
    flue[situation.place] = False
    hz = layout.nominal_hz[flue] * situation.weights.beating_partial[flue]
    weight = situation.weights.whole[flue]
    # the air changes a pipe's pitch, and so its beats, by some per cent; a tenth covers it
    return 1.1 * float((weight * 2.0 / half_width_cents(hz) ** 2).sum())
