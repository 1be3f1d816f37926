"""One rank over the years: its pipes and their common part, as one joint normal.

State of a rank of n pipes: each pipe's own place, then what the rank shares: its own movement, how
it follows the air beyond (a flue) or against (a reed) its targets, and two seasonal terms; last,
during a visit, the common error of its readings from a wrong thermometer.

    reading of pipe i = own_i + movement + follows · air + a cos τ + b sin τ + visit + error

Own places and the movement are random walks. A slip is a jump of a pipe, more likely the longer it
was not heard. Whether a pipe has slipped is judged against its rank: a slipped pipe counts less for
the common part, by the weights of a mixture of two normals. Tuning erases what was known of a pipe
(its row and column) and sets it where it was left.

Method: Kalman 1960, J. Basic Engineering 82:35; weights of the two-part mixture as in Harvey 1989,
Forecasting, Structural Time Series Models and the Kalman Filter (from memory). Exact except for
slips, which are collapsed to one normal after every visit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg.lapack import dpotrf, dtrtrs

from walkboard.condition.drift.kinds import (
    ALIKE_SLIPS,
    ALIKE_VISITS,
    FLUE_FOLLOWS,
    FLUE_FOLLOWS_SIGMA,
    REED_FOLLOWS,
    REED_FOLLOWS_SIGMA,
    SEASON_CENTS,
    UNHEARD_YEARS,
    Habits,
)
from walkboard.condition.mixtures import FloatArray

IntArray = NDArray[np.int64]

SHARED = 5  # movement, following, cosine, sine, visit
_MOVEMENT, _FOLLOWS, _COSINE, _SINE, _VISIT = range(SHARED)
_WIPED_CENTS = 50.0  # standard deviation of a pipe about which nothing is known
_FEWEST_FOR_MEDIAN = 5


@dataclass(frozen=True, eq=False)
class Foreseen:
    """A rank's pipes as forecast by the joint normal, before the visit's common part.

    Attributes
    ----------
    cents, sigma_cents : (n,) arrays
        If it has not slipped.
    slipped : (n,) array
        Chance that it has.
    shared_cents : float
        Part of `sigma_cents` that all its pipes share, one standard deviation: the rank's own
        movement, and what it follows of air and season [cents].
    """

    cents: FloatArray
    sigma_cents: FloatArray
    slipped: FloatArray
    shared_cents: float = 0.0


@dataclass(frozen=True, eq=False)
class Met:
    """Readings of a rank compared with the forecast, before the visit's common part is known.

    Attributes
    ----------
    heard : (m,) array of int
    off : (m,) array
        Reading less forecast [cents].
    spread : (m, m) array
        Covariance of `off`; slipped pipes count less.
    own : (m,) array
        Variance of each pipe's own part, if it has not slipped.
    """

    heard: IntArray
    off: FloatArray
    spread: FloatArray
    own: FloatArray

    def summary(self) -> Summary:
        """The rank's contribution to the visit's common part."""
        root = _root(self.spread)
        both = np.ones((len(self.off), 2))
        both[:, 1] = self.off
        half = dtrtrs(root, both, lower=1)[0]
        return Summary(float(half[:, 0] @ half[:, 0]), float(half[:, 0] @ half[:, 1]))


@dataclass(frozen=True, slots=True)
class Summary:
    """A rank's contribution to its visit's common part: a normal likelihood.

    Attributes
    ----------
    precision : float
        [1/cents²].
    pull : float
        Precision times the place [1/cents].
    """

    precision: float
    pull: float


class RankDrift:
    """What is known of one rank. It changes with each visit; `copy` keeps an earlier one.

    Parameters
    ----------
    pipes : int
    habits : Habits
        Of its kind: what the rank shares.
    is_flue : bool
    of_pipe : sequence of Habits, optional
        Of each pipe, where they are not built alike.
    """

    def __init__(
        self,
        pipes: int,
        habits: Habits,
        *,
        is_flue: bool,
        of_pipe: Sequence[Habits] | None = None,
    ) -> None:
        self.pipes, self.habits, self.is_flue = pipes, habits, is_flue
        each = [habits] * pipes if of_pipe is None else of_pipe
        own_cents = np.array([one.own_cents for one in each])
        self._wander_cents = np.array([one.wander_cents for one in each])
        self._slips_a_year = np.array([one.slips_a_year for one in each])
        self.slip_cents = np.array([one.slip_cents for one in each])
        self.left_cents = np.array([one.left_cents for one in each])
        size = pipes + SHARED
        self.mean = np.zeros(size)
        follows, sigma = (
            (FLUE_FOLLOWS, FLUE_FOLLOWS_SIGMA) if is_flue else (REED_FOLLOWS, REED_FOLLOWS_SIGMA)
        )
        self.mean[pipes + _FOLLOWS] = follows
        shared = (habits.common_cents, sigma, SEASON_CENTS, SEASON_CENTS, 1e-6)
        self.covariance = np.diag(np.concatenate([own_cents**2, np.square(shared)]))
        self.hazard = UNHEARD_YEARS * self._slips_a_year
        self._wandered = own_cents**2  # since last heard
        self._size_seen = np.zeros(pipes)
        self._size_weight = np.zeros(pipes)
        self._slips_seen = np.zeros(pipes)
        self._slips_due = np.zeros(pipes)

    def copy(self) -> RankDrift:
        """The same, to go on with alone."""
        other = RankDrift.__new__(RankDrift)
        for name, value in self.__dict__.items():
            setattr(other, name, value.copy() if isinstance(value, np.ndarray) else value)
        return other

    @property
    def unevenness(self) -> FloatArray:
        """How much more (or less) each pipe wanders than its kind, as a factor of its variance."""
        factor: FloatArray = (ALIKE_VISITS + self._size_seen) / (ALIKE_VISITS + self._size_weight)
        return factor

    @property
    def proneness(self) -> FloatArray:
        """How much more likely each pipe is to slip than its kind."""
        factor: FloatArray = (ALIKE_SLIPS + self._slips_seen) / (ALIKE_SLIPS + self._slips_due)
        return factor

    def follows(self) -> tuple[float, float]:
        """Share of the flues' movement with the air it follows beyond its targets, and σ."""
        at = self.pipes + _FOLLOWS
        return float(self.mean[at]), float(np.sqrt(self.covariance[at, at]))

    def movement(self) -> tuple[float, float]:
        """Its movement as a whole, and σ [cents]."""
        at = self.pipes + _MOVEMENT
        return float(self.mean[at]), float(np.sqrt(self.covariance[at, at]))

    def pass_time(self, years: float) -> None:
        """Let time pass without readings."""
        if years <= 0.0:
            return
        n, habits = self.pipes, self.habits
        wander = self._wander_cents**2 * self.unevenness * years
        own = np.arange(n)
        self.covariance[own, own] += wander
        self.covariance[n + _MOVEMENT, n + _MOVEMENT] += habits.rank_cents**2 * years
        self._wandered += wander
        due = self._slips_a_year * years
        self.hazard += due * self.proneness
        self._slips_due += due

    def foresee(self, shared: FloatArray) -> Foreseen:
        """Where its pipes are without the visit's common part.

        Parameters
        ----------
        shared : (SHARED,) array
            From `shared_terms`.
        """
        without = shared.copy()
        without[_VISIT] = 0.0
        return self.foresee_readings(without)

    def foresee_readings(self, shared: FloatArray) -> Foreseen:
        """What its pipes would read now, within the visit begun last, without reading errors.

        Parameters
        ----------
        shared : (SHARED,) array
        """
        n = self.pipes
        mean = self.mean[:n] + self.mean[n:] @ shared
        cross = self.covariance[:n, n:] @ shared
        own = np.diagonal(self.covariance)[:n]
        variance = own + 2.0 * cross + shared @ self.covariance[n:, n:] @ shared
        common = float(shared @ self.covariance[n:, n:] @ shared) + 2.0 * float(np.mean(cross))
        # the pipes' own places are correlated after readings of a few of them
        if n > 1:
            block = self.covariance[:n, :n]
            common += float((block.sum() - np.trace(block)) / (n * (n - 1)))
        return Foreseen(
            mean,
            np.sqrt(np.maximum(variance, 1e-6)),
            1.0 - np.exp(-self.hazard),
            float(np.sqrt(max(common, 0.0))),
        )

    def telling(self, shared: FloatArray) -> tuple[float, FloatArray]:
        """Variance of its pipes' common part, and of each pipe's own part including a slip."""
        n = self.pipes
        common = float(shared @ self.covariance[n:, n:] @ shared)
        slip = (1.0 - np.exp(-self.hazard)) * self.slip_cents**2
        return common, np.diagonal(self.covariance)[:n] + slip

    def meet(
        self,
        heard: IntArray,
        cents: FloatArray,
        error_cents: FloatArray,
        shared: FloatArray,
        common: tuple[float, float],
    ) -> Met:
        """Compare readings with the forecast, and judge which pipes have slipped.

        Parameters
        ----------
        heard : (m,) array of int
            Pipes, from 0.
        cents, error_cents : (m,) arrays
            Readings and their standard deviations.
        shared : (SHARED,) array
        common : (float, float)
            Mean and variance of the visit's common part, from earlier visits.
        """
        self._begin_visit((0.0, 0.0))
        off = cents - self.mean[heard] - self.mean[self.pipes :] @ shared
        spread = self._spread(heard, error_cents, shared)
        diagonal = spread.reshape(-1)[:: len(heard) + 1]
        if len(heard) >= _FEWEST_FOR_MEDIAN:
            middle = float(np.median(off))
            own = self.covariance[heard, heard] + error_cents**2
        else:  # too few to distinguish a slip from a common movement
            middle, own = common[0], diagonal + common[1]
        slipped = self._slipped(heard, off - middle, own)
        far = own + self.slip_cents[heard] ** 2
        jumped = 1.0 / ((1.0 - slipped) / own + slipped / far) - own
        diagonal += jumped
        self.covariance[heard, heard] += jumped  # it is the pipe that jumped, not the reading
        return Met(heard, off, spread, own)

    def hear(self, met: Met, shared: FloatArray, common: tuple[float, float]) -> None:
        """Add readings.

        Parameters
        ----------
        met : Met
            From `meet`, with nothing in between.
        shared : (SHARED,) array
        common : (float, float)
            Mean and variance of the visit's common part, from all other ranks.
        """
        self._begin_visit(common)
        off = met.off - common[0]
        before = float(self.mean[self.pipes :] @ shared)
        self._update(met.heard, off, met.spread + common[1], shared)
        moved = float(self.mean[self.pipes :] @ shared) - before
        self._learn(met.heard, off - moved, met.own)
        self.hazard[met.heard] = 0.0
        self._wandered[met.heard] = 0.0

    def leave(
        self, tuned: IntArray, cents: FloatArray, left_cents: FloatArray, shared: FloatArray
    ) -> None:
        """Set where pipes were left by tuning, within the visit begun last."""
        self.covariance[tuned, :] = 0.0
        self.covariance[:, tuned] = 0.0
        self.covariance[tuned, tuned] = _WIPED_CENTS**2
        self.mean[tuned] = 0.0
        off = cents - self.mean[tuned] - self.mean[self.pipes :] @ shared
        self._update(tuned, off, self._spread(tuned, left_cents, shared), shared)
        self.hazard[tuned] = 0.0
        self._wandered[tuned] = 0.0

    def unheard(self, common: tuple[float, float]) -> None:
        """Begin a visit at which this rank is tuned without having been heard."""
        self._begin_visit(common)

    def _begin_visit(self, common: tuple[float, float]) -> None:
        """Forget the last visit's common part and set the prior of this one's."""
        at = self.pipes + _VISIT
        self.covariance[at, :] = 0.0
        self.covariance[:, at] = 0.0
        self.mean[at], self.covariance[at, at] = common

    def _spread(self, heard: IntArray, error_cents: FloatArray, shared: FloatArray) -> FloatArray:
        n = self.pipes
        cross = self.covariance[heard, n:] @ shared
        cross += 0.5 * float(shared @ self.covariance[n:, n:] @ shared)
        spread: FloatArray = self.covariance[heard[:, None], heard]
        spread += cross[:, None]
        spread += cross
        spread.reshape(-1)[:: len(heard) + 1] += error_cents**2
        return spread

    def _slipped(self, heard: IntArray, off: FloatArray, own: FloatArray) -> FloatArray:
        """Chance that each pipe heard has slipped since it was last heard."""
        chance = 1.0 - np.exp(-self.hazard[heard])
        far = own + self.slip_cents[heard] ** 2
        log = np.log(chance + 1e-12) - np.log(1.0 - chance + 1e-12)
        log += 0.5 * (np.log(own / far) + off**2 * (1.0 / own - 1.0 / far))
        odds: FloatArray = 1.0 / (1.0 + np.exp(-np.clip(log, -40.0, 40.0)))
        return odds

    def _update(
        self, at: IntArray, off: FloatArray, spread: FloatArray, shared: FloatArray
    ) -> None:
        toward = self.covariance[:, at] + (self.covariance[:, self.pipes :] @ shared)[:, None]
        root = _root(spread)
        half = dtrtrs(root, toward.T, lower=1)[0]
        self.mean += half.T @ dtrtrs(root, off, lower=1)[0]
        self.covariance -= half.T @ half

    def _learn(self, heard: IntArray, off: FloatArray, own: FloatArray) -> None:
        """Learn how much each pipe wanders and slips, compared with its rank."""
        slipped = self._slipped(heard, off, own)
        share = np.minimum(1.0, self._wandered[heard] / own) * (1.0 - slipped)
        size = self.unevenness[heard]
        self._size_seen[heard] += share * np.minimum(off**2 / own, 9.0) * size
        self._size_weight[heard] += share
        self._slips_seen[heard] += slipped


def shared_terms(air_cents: float, year: float) -> FloatArray:
    """What multiplies a rank's shared terms at a visit.

    Parameters
    ----------
    air_cents : float
        How much sharper flues are in their air than at the organ's pitch temperature [cents].
    year : float
        The date as a number of years.
    """
    turn = 2.0 * np.pi * year
    return np.array([1.0, air_cents, np.cos(turn), np.sin(turn), 1.0])


def _root(spread: FloatArray) -> FloatArray:
    """Lower Cholesky factor; LAPACK called directly, because thousands of small matrices come."""
    root, info = dpotrf(spread, lower=1)
    if info != 0:
        raise AssertionError("a covariance of readings is positive definite")
    factor: FloatArray = root
    return factor
