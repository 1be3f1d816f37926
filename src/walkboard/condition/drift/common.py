"""What a visit's readings of all flues have in common: the organ's, the divisions', the moment's.

Four kinds of movement are separated as far as possible: lasting movement of the whole organ's
flues, and of one division's (dust); and what belongs to this visit only, for all divisions or one
(a wrong thermometer, humidity). Each rank contributes a normal likelihood
(`walkboard.condition.drift.rank.Summary`); the others' contributions are its prior. Exact for one
visit; between visits the correlation of the ranks' own movements with the common one is dropped.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from walkboard.condition.drift.kinds import UNKNOWN_AIR_CENTS, USUAL_COMMON, CommonHabits
from walkboard.condition.drift.rank import Summary
from walkboard.condition.mixtures import FloatArray

_SMALL = 1e-6


class CommonDrift:
    """Lasting common movement, and the joint normal of one visit.

    Parameters
    ----------
    divisions : int
    habits : CommonHabits
    """

    def __init__(self, divisions: int, habits: CommonHabits = USUAL_COMMON) -> None:
        self._divisions, self.habits = divisions, habits
        # lasting: organ, divisions; this visit's: organ, divisions
        self.mean = np.zeros(2 * (1 + divisions))
        self.covariance = np.diag(np.full(2 * (1 + divisions), _SMALL))

    def copy(self) -> CommonDrift:
        """An independent copy."""
        other = CommonDrift(self._divisions, self.habits)
        other.mean, other.covariance = self.mean.copy(), self.covariance.copy()
        return other

    def pass_time(self, years: float) -> None:
        """Let time pass; what belonged only to the last visit is forgotten."""
        k = 1 + self._divisions
        growth = np.full(k, self.habits.division_cents**2)
        growth[0] = self.habits.organ_cents**2
        own = np.arange(k)
        self.covariance[own, own] += growth * max(0.0, years)

    def begin_visit(self, air_is_known: tuple[bool, ...]) -> None:
        """Begin a visit; `air_is_known` says for each division whether its air was noted."""
        k = 1 + self._divisions
        self.mean[k:] = 0.0
        self.covariance[k:, :] = 0.0
        self.covariance[:, k:] = 0.0
        place = self.habits.place_cents
        fresh = [self.habits.visit_cents] + [
            place if one else UNKNOWN_AIR_CENTS for one in air_is_known
        ]
        now = np.arange(k, 2 * k)
        self.covariance[now, now] = np.square(fresh)

    def hear(
        self, summaries: Mapping[int, Summary], division_of: Mapping[int, int]
    ) -> dict[int, tuple[float, float]]:
        """Add the contributions of ranks.

        Parameters
        ----------
        summaries : mapping of rank to Summary
        division_of : mapping of rank to int
            Division of every rank asked about.

        Returns
        -------
        dict of rank to (float, float)
            Mean and variance of the common part from all *other* ranks.
        """
        precision = np.linalg.inv(self.covariance)
        pull = precision @ self.mean
        for rank, said in summaries.items():
            a = self._row(division_of[rank])
            precision += said.precision * np.outer(a, a)
            pull += said.pull * a
        self.covariance = np.linalg.inv(precision)
        self.mean = self.covariance @ pull
        others: dict[int, tuple[float, float]] = {}
        for rank, division in division_of.items():
            mean, variance = self.mean_and_variance(division)
            said = summaries.get(rank, Summary(0.0, 0.0))
            left = max(1.0 / variance - said.precision, 1e-6)
            others[rank] = ((mean / variance - said.pull) / left, 1.0 / left)
        return others

    def surprise(self, summaries: Mapping[int, Summary], division_of: Mapping[int, int]) -> float:
        """Minus the log likelihood of the ranks' contributions, up to a constant; before `hear`."""
        said = [s for s in summaries.values() if s.precision > 0.0]
        if not said:
            return 0.0
        rows = np.stack(
            [self._row(division_of[r]) for r, s in summaries.items() if s.precision > 0.0]
        )
        off = np.array([s.pull / s.precision for s in said]) - rows @ self.mean
        spread = rows @ self.covariance @ rows.T + np.diag([1.0 / s.precision for s in said])
        root = np.linalg.cholesky(spread)
        half = np.linalg.solve(root, off)
        return float(0.5 * half @ half + np.log(np.diagonal(root)).sum())

    def mean_and_variance(self, division: int) -> tuple[float, float]:
        """Mean and variance of a division's common part at this visit."""
        a = self._row(division)
        return float(a @ self.mean), float(a @ self.covariance @ a)

    def lasting(self, division: int) -> tuple[float, float]:
        """Mean and variance of its lasting part."""
        a = self._row(division)
        a[1 + self._divisions :] = 0.0
        return float(a @ self.mean), float(a @ self.covariance @ a)

    def _row(self, division: int) -> FloatArray:
        k = 1 + self._divisions
        a = np.zeros(2 * k)
        a[[0, 1 + division, k, k + 1 + division]] = 1.0
        return a
