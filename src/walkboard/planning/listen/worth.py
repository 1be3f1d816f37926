"""What hearing a pipe is worth to the plan, and what a minute is worth.

A pipe is tuned if it then costs less: its badness now against what tuning leaves and the minutes
that it takes, at the price of a minute. Unheard, that is decided on the forecast; heard, on the
truth. What hearing is worth is how much less the second costs in the mean:

    worth = E (c − B)⁺ − (c − E B)⁺,  B badness where it stands, c badness left + price × minutes

the value of information of one decision (Raiffa and Schlaifer 1961, Applied Statistical Decision
Theory, chapter 4; from memory), times the chance that its rank is worth opening at all. The means
are sums over equally likely places of the forecast. The price is that at which the minutes are just
used up when every pipe is heard.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from walkboard.planning.arrays import FloatArray, IntArray
from walkboard.planning.minutes import RANK_MINUTES
from walkboard.planning.value.cost import LIMITS, chance_stray, half_width_cents
from walkboard.planning.value.pipe_offsets import Situation

PLACES = 40  # equally likely places of each part of a forecast
_Z: FloatArray = ndtri((np.arange(PLACES) + 0.5) / PLACES)
_HALVINGS = 24
_DEAREST = 2.0  # badness per minute: more than any pipe can give


@dataclass(frozen=True, eq=False)
class HearingWorth:
    """What hearing is worth, pipe by pipe.

    Attributes
    ----------
    price : float
        Price of a minute [badness].
    worth : (n,) array
        Worth of hearing each known pipe [badness]; 0 if already known.
    likely : (n,) array
        Chance of being tuned if all were heard.
    opened : (n,) array
        Chance of its rank being opened.
    """

    price: float
    worth: FloatArray
    likely: FloatArray
    opened: FloatArray


class Hearings:
    """The pipes of a situation at one reference, as equally likely places.

    Parameters
    ----------
    situation : Situation
        Heard and forecast pipes.
    reference_cents : float
        How far above its current pitch the organ will be tuned.
    """

    def __init__(self, situation: Situation, reference_cents: float = 0.0) -> None:
        parts = situation.parts
        each = parts.each(half_width_cents(situation.beat_hz))
        reference = parts.each(situation.follows)[:, None] * reference_cents
        off = parts.cents[:, None] - reference + parts.sigma_cents[:, None] * _Z
        # the pipes it sounds with also scatter: added as a mean square
        u2 = (off**2 + LIMITS.neighbours_cents**2) / each[:, None] ** 2
        weight = situation.weight
        self._starts, self._share = parts.starts, parts.share
        self._badness: FloatArray = parts.each(weight)[:, None] * (u2 / (1.0 + u2))
        self._badness += parts.each(situation.stray)[:, None] * chance_stray(off, 0.0)
        self._left = situation.cost_left
        self._minutes = situation.minutes
        self._tunable = situation.tunable
        self._each = parts.each
        layout = situation.layout
        self._rank = layout.rank_of[situation.place]
        ranks = layout.organ.ranks
        chests = {chest.id: chest.minutes for chest in layout.organ.chests}
        sharing = [sum(other.chest == rank.chest for other in ranks) for rank in ranks]
        self._setup = np.array(
            [
                RANK_MINUTES + chests.get(r.chest, 0.0) / n
                for r, n in zip(ranks, sharing, strict=True)
            ]
        )

    def at_price(self, price: float) -> HearingWorth:
        """Worth of hearing each pipe at a price of a minute."""
        cost = self._left + price * self._minutes
        gain = np.maximum(self._badness - self._each(cost)[:, None], 0.0)
        mean_gain = self._mean(gain.mean(axis=1))
        saved = self._mean(np.maximum(self._each(cost)[:, None] - self._badness, 0.0).mean(axis=1))
        now = self._mean(self._badness.mean(axis=1))
        worth = np.where(self._tunable, saved - np.maximum(cost - now, 0.0), 0.0)
        likely = self._mean((gain > 0.0).mean(axis=1)) * self._tunable
        opened = self._opened(mean_gain, self._mean((gain**2).mean(axis=1)), price)
        return HearingWorth(price, np.maximum(worth, 0.0) * opened, likely, opened)

    def price(self, minutes: float) -> float:
        """Price at which the given minutes are just used up, if every pipe is heard [badness]."""
        low, high = 0.0, _DEAREST
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            if self._used(middle) > minutes:
                low = middle
            else:
                high = middle
        return high

    def _used(self, price: float) -> float:
        at = self.at_price(price)
        pipes = float((at.likely * at.opened * self._minutes).sum())
        first: IntArray = np.unique(self._rank, return_index=True)[1]
        return pipes + float((at.opened[first] * self._setup[self._rank[first]]).sum())

    def _opened(self, mean: FloatArray, square: FloatArray, price: float) -> FloatArray:
        """Chance that a rank's gain exceeds the cost of opening it; the gain is taken as normal."""
        ranks = len(self._setup)
        own = np.where(self._tunable, mean, 0.0)
        total = np.bincount(self._rank, own, ranks)
        spread = np.bincount(self._rank, np.where(self._tunable, square - mean**2, 0.0), ranks)
        z = (total - price * self._setup) / np.sqrt(np.maximum(spread, 1e-12))
        chance: FloatArray = ndtr(z)[self._rank]
        return chance

    def _mean(self, of_parts: FloatArray) -> FloatArray:
        mean: FloatArray = np.add.reduceat(self._share * of_parts, self._starts)
        return mean
