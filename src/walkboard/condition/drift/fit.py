"""Learns from a book's years how each kind of pipe drifts, and how wrong its forecasts were.

Every reading is forecast before it is added; the sizes of a kind are those with the highest
likelihood of its readings (prequential likelihood: Dawid 1984, J. R. Stat. Soc. A 147:278), held
near the usual sizes by a prior, so a short history changes little. Then the spread of the forecasts
is corrected by their outcomes, with four figures per kind
(`walkboard.condition.drift.kinds.Recalibration`), again held near the usual.

The search moves along one size after another, each time to the top of the parabola through three
values: the likelihood is smooth, and an exact maximum would gain nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TypeVar

import numpy as np
from scipy.optimize import minimize

from walkboard.condition.drift.common import CommonDrift
from walkboard.condition.drift.filter import OrganDrift, Surprises
from walkboard.condition.drift.history import PastVisit, RankVisit, VisitFigures, figures
from walkboard.condition.drift.kinds import (
    USUAL_COMMON,
    USUAL_HABITS,
    CommonHabits,
    DriftKind,
    Habits,
    Recalibration,
    as_vector,
    of_vector,
)
from walkboard.condition.drift.rank import RankDrift
from walkboard.condition.mixtures import FloatArray, NormalParts
from walkboard.organ.model import Organ

_Sizes = TypeVar("_Sizes", Habits, CommonHabits)

METHOD = 1  # raised whenever the same history would give another result
MOST_RANKS = 6  # of a kind: more add little and take longer
FEWEST_READINGS = 60  # with fewer, a kind keeps the usual sizes
HABITS_SPREAD = 0.35  # of the logarithm of a size about the usual
# For the common sizes: some tens of visits are few to learn them from.
COMMON_SPREAD = 0.3
_STEPS = (0.5, 0.25)  # of the logarithm, in the two rounds of the search
_FARTHEST_STEP = 1.0
# Sizes are learned from the first visits and the spread is corrected with the later ones: a fit
# predicts its own data better than new data.
SIZES_SHARE = 0.6
_MOST_FOR_SPREAD = 12_000  # readings used by the recalibration
_USUAL_RECALIBRATION = Recalibration()
_RECALIBRATION_SPREAD = np.array([0.15, 0.3, 0.5, 0.5])


@dataclass(frozen=True, slots=True)
class Learned:
    """How each kind drifts, from its history or as usual.

    Attributes
    ----------
    habits : mapping of DriftKind to Habits
    common : CommonHabits
    recalibration : mapping of DriftKind to Recalibration
    readings : mapping of DriftKind to int
        How many readings it was learned from; 0 for the usual values.
    """

    habits: Mapping[DriftKind, Habits]
    common: CommonHabits
    recalibration: Mapping[DriftKind, Recalibration]
    readings: Mapping[DriftKind, int]


AS_USUAL = Learned(
    USUAL_HABITS,
    USUAL_COMMON,
    MappingProxyType(dict.fromkeys(DriftKind, _USUAL_RECALIBRATION)),
    MappingProxyType(dict.fromkeys(DriftKind, 0)),
)


def spread_of(
    sigma_cents: FloatArray,
    slipped: FloatArray,
    slip_cents: float | FloatArray,
    recalibration: Recalibration,
) -> NormalParts:
    """A forecast about zero as a mixture of three normals: core, far core, slipped.

    Parameters
    ----------
    sigma_cents, slipped : (n,) arrays
        Standard deviation without a slip, and the chance of one, from the joint normal.
    slip_cents : float, or one each
    recalibration : Recalibration
    """
    slip = np.clip(recalibration.slips * slipped, 0.0, 0.95)
    near = recalibration.near * sigma_cents
    weights = np.stack(
        [
            (1.0 - slip) * (1.0 - recalibration.far_share),
            (1.0 - slip) * recalibration.far_share,
            slip,
        ],
        axis=1,
    )
    sigmas = np.stack([near, recalibration.far * near, np.hypot(near, slip_cents)], axis=1)
    return NormalParts(weights, np.zeros_like(weights), sigmas)


def learn(organ: Organ, visits: Sequence[PastVisit]) -> Learned:
    """Learn how each kind of pipe of an organ drifts.

    Parameters
    ----------
    organ : Organ
    visits : sequence of PastVisit
        Oldest first.
    """
    seen = figures(organ, visits)
    if len(seen) < 2:
        return AS_USUAL
    first = max(1, round(SIZES_SHARE * len(seen)))
    early = seen[:first]
    common = _learn_common(OrganDrift(organ, USUAL_HABITS), early)
    drift = OrganDrift(organ, USUAL_HABITS, common)
    log = [_taken_in(drift, visit) for visit in early]
    readings = _readings_by_rank(organ, early)
    habits: dict[DriftKind, Habits] = {}
    for kind in DriftKind:
        own = [at for at, of in enumerate(drift.kinds) if of is kind and readings[at]]
        own = sorted(own, key=lambda at: -readings[at])[:MOST_RANKS]
        if sum(readings[at] for at in own) < FEWEST_READINGS:
            habits[kind] = USUAL_HABITS[kind]
            continue
        courses = [_course(drift, early, log, at) for at in own]
        habits[kind] = _search(USUAL_HABITS[kind], _surprise_of(courses, kind))
    again = OrganDrift(organ, habits, common)
    surprises = [again.take_in(visit) for visit in seen]
    surprises = surprises[first:]
    recalibration = {kind: recalibrate(again, surprises, kind) for kind in DriftKind}
    readings = _readings_by_rank(organ, seen)
    counted = {
        kind: sum(readings[at] for at, of in enumerate(drift.kinds) if of is kind)
        for kind in DriftKind
    }
    return Learned(
        MappingProxyType(habits),
        common,
        MappingProxyType(recalibration),
        MappingProxyType(counted),
    )


def recalibrate(
    drift: OrganDrift, surprises: Sequence[Surprises], kind: DriftKind
) -> Recalibration:
    """Correction of the spread of a kind's forecasts, from their outcomes."""
    of_kind = np.array([k is kind for k in drift.kinds])
    off, sigma, slipped = (
        np.concatenate([getattr(s, name)[of_kind[s.rank]] for s in surprises] or [np.zeros(0)])
        for name in ("cents", "sigma_cents", "slipped")
    )
    if len(off) < FEWEST_READINGS:
        return _USUAL_RECALIBRATION
    every = max(1, len(off) // _MOST_FOR_SPREAD)
    off, sigma, slipped = off[::every], sigma[::every], slipped[::every]
    usual = _as_free(_USUAL_RECALIBRATION)
    slip_cents = drift.habits[kind].slip_cents

    def surprise(free: FloatArray) -> float:
        parts = spread_of(sigma, slipped, slip_cents, _of_free(free))
        held = 0.5 * float((((free - usual) / _RECALIBRATION_SPREAD) ** 2).sum())
        return held - float(parts.log_density(off).sum())

    corners = np.vstack([usual, usual + np.diag(_RECALIBRATION_SPREAD)])
    found = minimize(
        surprise,
        usual,
        method="Nelder-Mead",
        options={"maxiter": 300, "xatol": 0.01, "fatol": 0.1, "initial_simplex": corners},
    )
    return _of_free(found.x)


@dataclass(frozen=True, eq=False)
class _Course:
    """One rank over the visits: its readings, and the other ranks' contributions to each visit."""

    pipes: int
    is_flue: bool
    visits: tuple[
        tuple[float, FloatArray, RankVisit, tuple[float, float], tuple[float, float]], ...
    ]


_Log = dict[int, tuple[tuple[float, float], tuple[float, float]]]


def _taken_in(drift: OrganDrift, visit: VisitFigures) -> _Log:
    """Add a visit; for each rank, the prior of the common part and that from the other ranks."""
    drift.take_in(visit)
    return dict(drift.last_common)


def _course(
    drift: OrganDrift, seen: Sequence[VisitFigures], log: Sequence[_Log], at: int
) -> _Course:
    visits = []
    for visit, said in zip(seen, log, strict=True):
        if at in visit.ranks:
            before, others = said[at]
            terms = drift.shared(visit, at)
            visits.append((visit.year, terms, visit.ranks[at], before, others))
    return _Course(drift.ranks[at].pipes, drift.ranks[at].is_flue, tuple(visits))


def _surprise_of(courses: Sequence[_Course], kind: DriftKind) -> Callable[[Habits], float]:
    usual = as_vector(USUAL_HABITS[kind])

    def surprise(habits: Habits) -> float:
        held = 0.5 * float((((as_vector(habits) - usual) / HABITS_SPREAD) ** 2).sum())
        return held + sum(_surprise(course, habits) for course in courses)

    return surprise


def _surprise(course: _Course, habits: Habits) -> float:
    """Minus the log likelihood of a rank's readings, each as forecast before its visit."""
    rank = RankDrift(course.pipes, habits, is_flue=course.is_flue)
    total = 0.0
    last: float | None = None
    for year, terms, own, before, others in course.visits:
        rank.pass_time(0.0 if last is None else year - last)
        last = year
        if len(own.heard):
            seen = rank.foresee(terms)
            sigma = np.sqrt(seen.sigma_cents[own.heard] ** 2 + before[1] + own.error_cents**2)
            parts = spread_of(
                sigma, seen.slipped[own.heard], habits.slip_cents, _USUAL_RECALIBRATION
            )
            off = own.cents - seen.cents[own.heard] - before[0]
            total -= float(parts.log_density(off).sum())
            met = rank.meet(own.heard, own.cents, own.error_cents, terms, before)
            rank.hear(met, terms, others)
        else:
            rank.unheard(others)
        if len(own.tuned):
            rank.leave(own.tuned, own.left_cents, np.full(len(own.tuned), habits.left_cents), terms)
    return total


def _learn_common(drift: OrganDrift, seen: Sequence[VisitFigures]) -> CommonHabits:
    """Sizes of the common movement with the highest likelihood."""
    divisions = dict(enumerate(drift.division_of))
    said = []
    for visit in seen:
        drift.take_in(visit)
        said.append((visit.year, drift.air_is_known(visit.air_cents), dict(drift.last_said)))
    usual = as_vector(USUAL_COMMON)

    def surprise(habits: CommonHabits) -> float:
        common = CommonDrift(len(drift.organ.divisions), habits)
        total = 0.5 * float((((as_vector(habits) - usual) / COMMON_SPREAD) ** 2).sum())
        last: float | None = None
        for year, air_is_known, summaries in said:
            common.pass_time(0.0 if last is None else year - last)
            last = year
            common.begin_visit(air_is_known)
            total += common.surprise(summaries, divisions)
            common.hear(summaries, {rank: divisions[rank] for rank in summaries})
        return total

    return _search(USUAL_COMMON, surprise)


def _search(usual: _Sizes, surprise: Callable[[_Sizes], float]) -> _Sizes:
    kind = type(usual)
    at = as_vector(usual)
    least = surprise(usual)
    for step in _STEPS:
        for size in range(len(at)):
            tried = {}
            for way in (-step, step):
                moved = at.copy()
                moved[size] += way
                tried[way] = surprise(of_vector(kind, moved))
            bend = tried[-step] + tried[step] - 2.0 * least
            slope = 0.5 * (tried[step] - tried[-step])
            way = -step * slope / bend if bend > 1e-9 else step * (-1.0 if slope > 0.0 else 1.0)
            way = float(np.clip(way, -_FARTHEST_STEP, _FARTHEST_STEP))
            moved = at.copy()
            moved[size] += way
            tried[way] = surprise(of_vector(kind, moved))
            best = min(tried, key=lambda w: tried[w])
            if tried[best] < least:
                least = tried[best]
                at[size] += best
    return of_vector(kind, at)


def _readings_by_rank(organ: Organ, seen: Sequence[VisitFigures]) -> list[int]:
    counts = [0] * len(organ.ranks)
    for visit in seen:
        for at, own in visit.ranks.items():
            counts[at] += len(own.heard)
    return counts


def _as_free(r: Recalibration) -> FloatArray:
    return np.array(
        [
            np.log(r.near),
            np.log(r.far - 1.0),
            np.log(r.far_share / (1.0 - r.far_share)),
            np.log(r.slips),
        ]
    )


def _of_free(free: FloatArray) -> Recalibration:
    near, far, share, slips = np.clip(free, -4.0, 3.0)
    return Recalibration(
        near=float(np.exp(near)),
        far=float(1.0 + np.exp(far)),
        far_share=float(1.0 / (1.0 + np.exp(-share))),
        slips=float(np.exp(slips)),
    )
