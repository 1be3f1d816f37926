"""What must be, and what cannot be, in a plan better than the best one known.

At a price of time, forcing a pipe into (or out of) the relaxed choice lowers the bound by a known
loss. If the loss exceeds the gap between the bound and the best plan known, no better plan does
that, and the pipe is settled (reduced-cost fixing; Crowder, Johnson & Padberg 1983, Oper. Res.
31:803).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray
from walkboard.planning.choose.bound import Relaxed
from walkboard.planning.choose.task import Level


@dataclass(frozen=True, slots=True)
class Settled:
    """Pipes and groups that are settled before the exact choice.

    Attributes
    ----------
    inside, outside : (n,) arrays of bool
        Pipes that every better plan tunes, or leaves alone.
    opened : tuple of arrays of bool
        For each level, innermost first, groups that every better plan reaches.
    """

    inside: BoolArray
    outside: BoolArray
    opened: tuple[BoolArray, ...]


def settle(at: Relaxed, levels: tuple[Level, ...], slack: float) -> Settled:
    """Pipes and groups that are settled, at one price and one reference.

    Parameters
    ----------
    at : Relaxed
        Relaxation at one reference.
    levels : tuple of Level
        Innermost first.
    slack : float
        Bound of the gain minus the gain of the best plan known, at that price.
    """
    count = [margin.shape[0] for margin in at.margins]
    loss_out = [np.maximum(margin, 0.0) for margin in at.margins]
    lacking = [np.maximum(-margin, 0.0) for margin in at.margins]
    if at.forced is not None:  # required work is paid for and cannot be left out
        for depth, forced in enumerate(at.forced):
            lacking[depth][forced] = 0.0
            loss_out[depth][forced] = np.inf
    # forcing in: the shortfall here and at every group that must then be reached
    missing = np.zeros(count[-1])
    loss_in = missing
    for depth in range(len(levels), -1, -1):
        loss_in = missing + lacking[depth]
        if depth:
            missing = np.repeat(loss_in, levels[depth - 1].sizes(count[depth - 1]))
    outside = loss_in > slack
    if at.forced is not None:
        outside &= ~at.forced[0]
    # forcing out: a group can lose no more than it was worth
    inside, *opened = (
        _worth_up(loss_out, levels, count, depth) > slack for depth in range(len(levels) + 1)
    )
    return Settled(inside, outside, tuple(opened))


def _worth_up(
    worth: list[FloatArray], levels: tuple[Level, ...], count: list[int], depth: int
) -> FloatArray:
    """Least worth of a member and all groups containing it."""
    least = worth[-1]
    for outer in range(len(levels), depth, -1):
        spread = np.repeat(least, levels[outer - 1].sizes(count[outer - 1]))
        least = np.minimum(spread, worth[outer - 1])
    return least
