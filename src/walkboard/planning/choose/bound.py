"""A lower bound of the cost of any plan of these minutes: Lagrange's.

Every step of time has a price. With that, pipes no longer compete for the minutes: a pipe is worth
its gain less the price of its time, a rank the sum of its worthwhile pipes less the price of
reaching it, a chest the sum of its worthwhile ranks, and so on outward. What must be done counts
whether it is worth it or not. One pass over the pipes gives the best possible value, and gain(any
plan) ≤ that + price × minutes for **every** price (weak duality; Geoffrion 1974, Math. Prog. Study
2:82). A search finds the best price.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.choose.task import Level


@dataclass(frozen=True, slots=True)
class Relaxed:
    """The relaxed choice at one price, for one reference or a stack of them.

    Attributes
    ----------
    value : (…) array
        Worth of the relaxed choice with the price paid.
    used : (…) array
        Steps of time that it takes.
    margins : tuple of arrays
        Worth of each pipe, then of each group of every level outward, before dropping what is not
        worth it (negative).
    forced : tuple of arrays of bool, or None
        Pipes and groups that must be done, level by level; None if there are none.
    """

    value: FloatArray
    used: FloatArray
    margins: tuple[FloatArray, ...]
    forced: tuple[BoolArray, ...] | None = None

    def taken(self, depth: int) -> BoolArray:
        """Members of a level that the relaxed choice takes, provided their groups are taken."""
        taken: BoolArray = self.margins[depth] > 0.0
        return taken if self.forced is None else taken | self.forced[depth]


def relax(
    gain: FloatArray,
    steps: IntArray,
    levels: tuple[Level, ...],
    price: FloatArray | float,
    must: BoolArray | None = None,
) -> Relaxed:
    """Best choice with time at a price; pipes are the last axis of `gain`.

    Parameters
    ----------
    gain : (…, n) array
        Badness removed by tuning each pipe.
    steps : (n,) array
        Its time.
    levels : tuple of Level
        Set-ups, innermost first.
    price : (…) array or float
        Badness a step of time.
    must : (…, n) array of bool, optional
        Pipes that have to be tuned.
    """
    cost_of_step = np.asarray(price, dtype=np.float64)[..., None]
    margin = gain - cost_of_step * steps
    margins = [margin]
    forced = [] if must is None else [must]
    taken = margin > 0.0 if must is None else (margin > 0.0) | must
    worth = np.where(taken, margin, 0.0)
    used = np.where(taken, steps, 0)
    for level in levels:
        margin = np.add.reduceat(worth, level.starts, axis=-1) - cost_of_step * level.steps
        margins.append(margin)
        taken = margin > 0.0
        if must is not None:
            forced.append(np.logical_or.reduceat(forced[-1], level.starts, axis=-1))
            taken = taken | forced[-1]
        worth = np.where(taken, margin, 0.0)
        used = np.where(taken, np.add.reduceat(used, level.starts, axis=-1) + level.steps, 0)
    return Relaxed(
        worth.sum(-1),
        used.sum(-1).astype(np.float64),
        tuple(margins),
        None if must is None else tuple(forced),
    )


def worth_of_groups(
    gain: FloatArray,
    steps: IntArray,
    levels: tuple[Level, ...],
    price: float,
    must: BoolArray | None = None,
) -> FloatArray:
    """Worth of each outermost group at one price: only the sums of `relax`."""
    values = gain - price * steps
    np.maximum(values, 0.0, out=values) if must is None else np.putmask(
        values, (values < 0.0) & ~must, 0.0
    )
    for level in levels:
        values = np.add.reduceat(values, level.starts, axis=-1) - price * level.steps
        if must is None:
            np.maximum(values, 0.0, out=values)
        else:
            must = np.logical_or.reduceat(must, level.starts, axis=-1)
            np.putmask(values, (values < 0.0) & ~must, 0.0)
    return values


@dataclass(frozen=True, slots=True)
class Priced:
    """The best price found for one reference.

    Attributes
    ----------
    price : float
    most_gain : float
        Upper limit of the gain of any choice within the capacity.
    thrifty : Relaxed
        The relaxed choice at a price where it fits the capacity.
    at_best : Relaxed
        The relaxed choice at `price`.
    """

    price: float
    most_gain: float
    thrifty: Relaxed
    at_best: Relaxed


def best_price(
    gain: FloatArray,
    steps: IntArray,
    levels: tuple[Level, ...],
    capacity: int,
    *,
    must: BoolArray | None = None,
    rounds: int = 40,
) -> Priced:
    """Price that gives the lowest bound for one reference.

    Parameters
    ----------
    gain : (n,) array
    steps, levels
        As in `relax`.
    capacity : int
        Available steps of time; what must be done fits in them.
    must : (n,) array of bool, optional
    rounds : int
        Most passes; the bound is valid after any of them.

    Notes
    -----
    The bound as a function of the price is convex and piecewise linear. Tangents at two prices, one
    where the choice takes too long and one where it fits, cross closer to the minimum; an
    occasional bisection keeps the search from stalling.
    """
    low, high = 0.0, 1.001 * float(np.max(gain / steps, initial=0.0)) + 1e-12
    at_low = relax(gain, steps, levels, low, must)
    at_high = relax(gain, steps, levels, high, must)
    if at_low.used <= capacity:
        return Priced(low, float(at_low.value), at_low, at_low)
    best, best_at, least = high, at_high, float(at_high.value) + high * capacity
    for turn in range(rounds):
        price = 0.5 * (low + high) if turn % 4 == 3 else _crossing(low, at_low, high, at_high)
        if not low < price < high:
            break
        at = relax(gain, steps, levels, price, must)
        total = float(at.value) + price * capacity
        if total < least:
            best, best_at, least = price, at, total
        if at.used > capacity:
            low, at_low = price, at
        else:
            high, at_high = price, at
        if high - low <= 1e-12 * high:
            break
    return Priced(best, least, at_high, best_at)


def _crossing(low: float, at_low: Relaxed, high: float, at_high: Relaxed) -> float:
    """Price at which the bound's tangents at two prices meet."""
    rise = float(at_high.value - at_low.value + at_high.used * high - at_low.used * low)
    return rise / float(at_high.used - at_low.used)
