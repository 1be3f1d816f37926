"""The whole organ over its visits: every rank's joint normal, and their common part."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from walkboard.condition.drift.common import CommonDrift
from walkboard.condition.drift.history import IntArray, VisitFigures
from walkboard.condition.drift.kinds import (
    USUAL_COMMON,
    CommonHabits,
    DriftKind,
    Habits,
    drift_kind,
    drift_kinds,
)
from walkboard.condition.drift.rank import Foreseen, RankDrift, Summary, shared_terms
from walkboard.condition.mixtures import FloatArray
from walkboard.organ.model import Organ


@dataclass(frozen=True, eq=False)
class Surprises:
    """Readings of one visit compared with their forecasts, before they were included.

    Attributes
    ----------
    rank, pipe : (m,) arrays of int
        From 0.
    cents : (m,) array
        Reading less forecast [cents].
    sigma_cents : (m,) array
        As forecast for a pipe that did not slip, including the reading's uncertainty.
    slipped : (m,) array
        Forecast chance of a slip.
    """

    rank: IntArray
    pipe: IntArray
    cents: FloatArray
    sigma_cents: FloatArray
    slipped: FloatArray


class OrganDrift:
    """What is known of an organ's pipes; updated with each visit.

    Parameters
    ----------
    organ : Organ
    habits : mapping of DriftKind to Habits
    common : CommonHabits
    """

    def __init__(
        self,
        organ: Organ,
        habits: Mapping[DriftKind, Habits],
        common: CommonHabits = USUAL_COMMON,
    ) -> None:
        self.organ = organ
        self.habits = habits
        divisions = {d.id: n for n, d in enumerate(organ.divisions)}
        self.division_of = [divisions[rank.division] for rank in organ.ranks]
        self.kinds = [drift_kind(rank) for rank in organ.ranks]
        self.ranks = [
            RankDrift(
                rank.pipes,
                habits[kind],
                is_flue=rank.family.is_flue,
                of_pipe=[habits[one] for one in drift_kinds(rank)] if rank.parts else None,
            )
            for rank, kind in zip(organ.ranks, self.kinds, strict=True)
        ]
        self.common = CommonDrift(len(divisions), common)
        self.year: float | None = None
        # for each rank at the last visit: the common part from all other ranks, and the rank's own
        # contribution
        self.last_common: dict[int, tuple[tuple[float, float], tuple[float, float]]] = {}
        self.last_said: dict[int, Summary] = {}

    def copy(self) -> OrganDrift:
        """The same, to go on with alone."""
        other = OrganDrift.__new__(OrganDrift)
        other.__dict__.update(self.__dict__)
        other.ranks = [rank.copy() for rank in self.ranks]
        other.common = self.common.copy()
        return other

    def pass_to(self, year: float) -> None:
        """Let time pass to a date; never backward."""
        if self.year is not None:
            elapsed = max(0.0, year - self.year)
            for rank in self.ranks:
                rank.pass_time(elapsed)
            self.common.pass_time(elapsed)
        self.year = year if self.year is None else max(year, self.year)

    def take_in(self, visit: VisitFigures) -> Surprises:
        """Add a visit: what was heard, then what was tuned."""
        self.pass_to(visit.year)
        self.common.begin_visit(self.air_is_known(visit.air_cents))
        surprises = self._surprises(visit)
        self.hear(visit)
        for at, own in visit.ranks.items():
            if len(own.tuned):
                rank = self.ranks[at]
                error = rank.left_cents[own.tuned]
                rank.leave(own.tuned, own.left_cents, error, self.shared(visit, at))
        return surprises

    def air_is_known(self, air_cents: Mapping[str, float | None]) -> tuple[bool, ...]:
        """For each division, whether its air was noted."""
        return tuple(air_cents.get(d.id) is not None for d in self.organ.divisions)

    def hear(self, visit: VisitFigures) -> None:
        """Add readings within the visit begun last."""
        terms = {at: self.shared(visit, at) for at in visit.ranks}
        met = {
            at: self.ranks[at].meet(
                own.heard, own.cents, own.error_cents, terms[at], self._standing(at)
            )
            for at, own in visit.ranks.items()
            if len(own.heard)
        }
        said = {at: m.summary() for at, m in met.items() if self.ranks[at].is_flue}
        flues = {at: self.division_of[at] for at in visit.ranks if self.ranks[at].is_flue}
        self.last_said = said
        before = {at: self._standing(at) for at in visit.ranks}
        others = self.common.hear(said, flues)
        self.last_common = {at: (before[at], others.get(at, (0.0, 0.0))) for at in visit.ranks}
        for at in visit.ranks:
            common = others.get(at, (0.0, 0.0))
            if at in met:
                self.ranks[at].hear(met[at], terms[at], common)
            else:
                self.ranks[at].unheard(common)

    def _standing(self, rank: int) -> tuple[float, float]:
        if not self.ranks[rank].is_flue:
            return 0.0, 0.0
        return self.common.mean_and_variance(self.division_of[rank])

    def shared(self, visit: VisitFigures, rank: int) -> FloatArray:
        """Factors of a rank's shared terms at a visit."""
        air = visit.air_cents.get(self.organ.ranks[rank].division)
        return shared_terms(0.0 if air is None else air, visit.year)

    def foresee(self, rank: int, when: VisitFigures) -> Foreseen:
        """A rank's pipes now, lasting common movement included."""
        seen = self.ranks[rank].foresee(self.shared(when, rank))
        if not self.ranks[rank].is_flue:
            return seen
        mean, variance = self.common.lasting(self.division_of[rank])
        sigma = np.sqrt(seen.sigma_cents**2 + variance)
        return Foreseen(seen.cents + mean, sigma, seen.slipped, seen.shared_cents)

    def division_sigma_cents(self, rank: int) -> float:
        """Uncertainty of the common shift of a rank's division [cents]."""
        return float(np.sqrt(self.common.lasting(self.division_of[rank])[1]))

    def read_now(self, rank: int, when: VisitFigures) -> Foreseen:
        """A rank's pipes as they would read at the last visit.

        The common part of a visit's readings moves the reference, not the plan, so its remaining
        uncertainty is left out.
        """
        shared = self.shared(when, rank)
        if rank in when.ranks:
            return self.ranks[rank].foresee_readings(shared)
        seen = self.ranks[rank].foresee(shared)
        mean, _ = self._standing(rank)
        return Foreseen(seen.cents + mean, seen.sigma_cents, seen.slipped, seen.shared_cents)

    def _surprises(self, visit: VisitFigures) -> Surprises:
        parts = []
        for at, own in visit.ranks.items():
            if not len(own.heard):
                continue
            seen = self.ranks[at].foresee(self.shared(visit, at))
            mean, variance = self._standing(at)
            sigma = np.sqrt(seen.sigma_cents[own.heard] ** 2 + variance + own.error_cents**2)
            parts.append(
                (
                    np.full(len(own.heard), at),
                    own.heard,
                    own.cents - seen.cents[own.heard] - mean,
                    sigma,
                    seen.slipped[own.heard],
                )
            )
        if not parts:
            nothing = np.zeros(0)
            return Surprises(nothing.astype(np.int64), nothing.astype(np.int64), *[nothing] * 3)
        return Surprises(*(np.concatenate(column) for column in zip(*parts, strict=True)))
