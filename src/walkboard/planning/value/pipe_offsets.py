"""Every known pipe's deviation from where it should be left, and its cost."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType

import numpy as np

from walkboard.condition.kinds import Role
from walkboard.condition.pulling import PullingPair
from walkboard.condition.shift import air_cents
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Organ, PipeRef, TunedBy
from walkboard.planning.arrays import BoolArray, FloatArray, IntArray
from walkboard.planning.minutes import pipe_minutes
from walkboard.planning.pitch import DivisionPitch
from walkboard.planning.value.belief import Belief, Known, Parts, PipeForecast, belief_of
from walkboard.planning.value.celestes import beside_partners
from walkboard.planning.value.cost import (
    LIMITS,
    chance_stray,
    heard_badness,
    left_by_tuning_cents,
)
from walkboard.planning.value.layout import Layout
from walkboard.planning.value.pipe_offset import PipeOffset
from walkboard.planning.value.risk import CHANCE, chances
from walkboard.planning.value.weight import Weights, weigh
from walkboard.quantities import ratio_of_cents

# How far an unheard flue may be from its division, one standard deviation [cents]: a season's
# wander of the pipe and of its rank (common practice, no source).
UNHEARD_CENTS = 2.0

# The reference is searched within this of the organ's present pitch, in these steps [cents].
REACH_CENTS, REFERENCE_STEP_CENTS = 8.0, 0.1
_MOST_STEPS = round(REACH_CENTS / REFERENCE_STEP_CENTS)
REFERENCES_CENTS: FloatArray = np.round(
    np.arange(-_MOST_STEPS, _MOST_STEPS + 1) * REFERENCE_STEP_CENTS, 6
)
_FAR_SIGMAS = 5.0  # beyond, a chance is below 1e-6


@dataclass(frozen=True)
class Situation:
    """All known pipes, as arrays in the order given.

    Attributes
    ----------
    layout : Layout
    known : tuple of PipeCents or PipeForecast
    place : (n,) array of int
        In the layout.
    parts : Parts
        Deviation of each from where it should be left [cents].
    target_hz, beat_hz, left_cents, minutes, chance_worse : (n,) arrays
    from_flues_cents : (n,) array
        Against its division's flues today.
    tunable : (n,) array of bool
    weights : Weights
        Of every pipe of the organ.
    pulling : tuple of PullingPair
        Pipes that draw each other when both sound, which is in `parts`.
    follows : (n,) array
        1 where the organ's reference counts for a pipe; 0 for a celeste whose partner stays as it
        is (`walkboard.planning.value.celestes`).
    before : Situation or None
        The same pipes under another event, to reuse what did not change.
    """

    layout: Layout
    known: tuple[Known, ...]
    place: IntArray
    parts: Parts
    target_hz: FloatArray
    beat_hz: FloatArray
    from_flues_cents: FloatArray
    left_cents: FloatArray
    minutes: FloatArray
    chance_worse: FloatArray
    tunable: BoolArray
    weights: Weights
    follows: FloatArray
    pulling: tuple[PullingPair, ...] = ()
    before: Situation | None = None

    @cached_property
    def weight(self) -> FloatArray:
        """Weight of each."""
        return self.weights.whole[self.place]

    @cached_property
    def stray(self) -> FloatArray:
        """Cost of sticking out, for each."""
        return self.weights.stray[self.place]

    @cached_property
    def cost(self) -> FloatArray:
        """Mean cost of each at each reference with nothing tuned; (k, n)."""
        return self.cost_at(REFERENCES_CENTS, self._beating)

    @cached_property
    def cost_left(self) -> FloatArray:
        """Mean cost of each after tuning, including the chance that it goes wrong; (n,)."""
        left = heard_badness(0.0, self.left_cents, self.beat_hz)
        after = left + self.chance_worse * (1.0 - left)
        cost: FloatArray = self.weight * after + self.stray * self.chance_worse
        return cost

    def cost_at(
        self, references_cents: FloatArray, beating: FloatArray | None = None
    ) -> FloatArray:
        """Mean cost of each at given references with nothing tuned; (k, n)."""
        if beating is None:
            beating = _beating(self.parts, self.beat_hz, self.follows, references_cents)
        cost: FloatArray = self.weight * beating
        # most pipes are too close to stick out at any reference
        reach = float(np.max(np.abs(references_cents), initial=0.0))
        parts = self.parts
        nearest = (
            np.abs(parts.cents)
            + reach
            + _FAR_SIGMAS * np.hypot(parts.sigma_cents, LIMITS.stray_edge_cents)
        )
        far = nearest > LIMITS.stray_cents
        if not parts.is_single:
            far = np.logical_or.reduceat(far, parts.starts)
        which = np.flatnonzero(far & (self.stray > 0.0))
        if len(which):
            some = parts.only(which)
            off = some.cents - some.each(self.follows[which]) * references_cents[:, None]
            cost[:, which] += self.stray[which] * some.mean(chance_stray(off, some.sigma_cents))
        return cost

    @cached_property
    def _beating(self) -> FloatArray:
        """Mean badness of the beats of each at each reference, before weighing; (k, n)."""
        if self.before is None:
            return _beating(self.parts, self.beat_hz, self.follows)
        changed = self._changed_since(self.before)
        beating = self.before._beating.copy()  # noqa: SLF001 - of its own class
        beating[:, changed] = _beating(
            self.parts.only(changed), self.beat_hz[changed], self.follows[changed]
        )
        return beating

    def _changed_since(self, before: Situation) -> IntArray:
        moved = self.parts.cents != before.parts.cents
        if not self.parts.is_single:
            moved = np.logical_or.reduceat(moved, self.parts.starts)
        changed: IntArray = np.flatnonzero(
            moved | (self.beat_hz != before.beat_hz) | (self.follows != before.follows)
        )
        return changed

    def chance_within(self, references_cents: FloatArray, half_width_cents: float) -> FloatArray:
        """Chance that each is within so many cents of each reference; (k, n)."""
        off = self.parts.cents - self.parts.each(self.follows) * references_cents[:, None]
        return self.parts.chance_within(off, half_width_cents)

    @cached_property
    def _pulled(self) -> dict[PipeRef, tuple[PipeRef, float]]:
        """By whom each is drawn when both sound, and how far [cents]."""
        found = {}
        for pair in self.pulling:
            for pipe, other in ((pair.first, pair.second), (pair.second, pair.first)):
                found[pipe] = other, pair.drawn_cents[pipe]
        return found

    def offset(self, index: int) -> PipeOffset:
        """One of them, for the explanation."""
        known = self.known[index]
        organ = self.layout.organ
        rank = organ.rank(known.pipe.rank)
        count = len(belief_of(known).shares)
        start = int(self.parts.starts[index])
        part = slice(start, start + count)
        pulled_by, drawn_cents = self._pulled.get(known.pipe, (None, 0.0))
        return PipeOffset(
            pipe=known.pipe,
            rank=rank,
            role=self.layout.role[rank.id],
            target_hz=float(self.target_hz[index]),
            beat_hz=float(self.beat_hz[index]),
            belief=Belief(
                tuple(float(x) for x in self.parts.share[part]),
                tuple(float(x) for x in self.parts.cents[part]),
                tuple(float(x) for x in self.parts.sigma_cents[part]),
            ),
            cents_from_flues=float(self.from_flues_cents[index]),
            weight=self.weights.at(int(self.place[index])),
            left_cents=float(self.left_cents[index]),
            minutes=float(self.minutes[index]),
            tunable=bool(self.tunable[index]),
            is_heard=not isinstance(known, PipeForecast),
            beside_partner=bool(self.follows[index] == 0.0),
            pulled_by=pulled_by,
            drawn_cents=drawn_cents,
        )


def situation(
    layout: Layout,
    pitches: Mapping[str, DivisionPitch],
    known: Sequence[Known],
    weights: Weights,
    *,
    before: Situation | None = None,
    reed_follows: Mapping[str, float] = MappingProxyType({}),
    tuned: Collection[PipeRef] = (),
    pulling: Sequence[PullingPair] = (),
) -> Situation:
    """The situation of each known pipe.

    Parameters
    ----------
    layout : Layout
    pitches : mapping of division id to DivisionPitch
        From `walkboard.planning.pitch.division_pitches`.
    known : sequence of PipeCents or PipeForecast
        Each pipe once.
    weights : Weights
    before : Situation, optional
        The same pipes under another event: saves time, changes nothing.
    reed_follows : mapping of rank id to float
        Share of the flues' movement with the air that a reed follows, 0 to 1, as learned by drift;
        ranks not named do not follow.
    tuned : collection of PipeRef
        Partners of celestes that are tuned before them; other partners stay as they are.
    pulling : sequence of PullingPair
        Pipes that draw each other when both sound: each costs what it sounds like.
    """
    organ = layout.organ
    place = np.array([layout.place(k.pipe) for k in known], dtype=np.int64)
    ranks = [organ.ranks[int(r)] for r in layout.rank_of[place]]
    pitch = [pitches[organ.divisions[int(d)].id] for d in layout.division_of[place]]
    ways = [rank.tuned_by_of(k.pipe.number) for rank, k in zip(ranks, known, strict=True)]
    reed = np.array([layout.role[rank.id] is Role.REED for rank in ranks], dtype=np.bool_)
    air = _AirCents(organ)
    heard_in = np.array([air.at(k.air_celsius) for k in known])
    flues = np.array([air.at(p.air_celsius) + p.above_cents for p in pitch])
    event = np.array([air.at(p.event_celsius) + p.above_cents for p in pitch])
    stays = np.array([1.0 - reed_follows.get(rank.id, 0.0) for rank in ranks])
    leave = np.where(reed, flues + stays * (event - flues), flues)
    parts = _parts(known)
    target = layout.nominal_hz[place] * 2.0 ** (leave / 1200.0)
    against = Parts(
        parts.starts, parts.share, parts.cents + parts.each(heard_in - leave), parts.sigma_cents
    )
    mean, follows = against.mean(against.cents), np.ones(len(known))
    beside = beside_partners(organ, known, target, mean, against, tuned)
    if beside is not None:
        against, target, follows = beside
        mean = against.mean(against.cents)
    there = {k.pipe for k in known}
    pairs = tuple(pair for pair in pulling if there.issuperset(pair.drawn_cents))
    drawn = {pipe: cents for pair in pairs for pipe, cents in pair.drawn_cents.items()}
    if drawn:
        sounds = against.cents + against.each(np.array([drawn.get(k.pipe, 0.0) for k in known]))
        against = Parts(against.starts, against.share, sounds, against.sigma_cents)
    return Situation(
        layout=layout,
        known=tuple(known),
        place=place,
        parts=against,
        target_hz=target,
        beat_hz=target * weights.beating_partial[place],
        from_flues_cents=mean + leave - flues,
        left_cents=np.array(
            [left_by_tuning_cents(h, reed=bool(r)) for h, r in zip(target, reed, strict=True)]
        ),
        minutes=np.array(
            [
                pipe_minutes(rank, k.pipe.number, layout.role[rank.id], h, pulls=k.pipe in drawn)
                for rank, k, h in zip(ranks, known, target, strict=True)
            ]
        ),
        chance_worse=chances(
            np.array([CHANCE[way] for way in ways]),
            np.array([float(way is TunedBy.CONE) for way in ways]),
            mean,
        ),
        tunable=np.array([not rank.historic for rank in ranks], dtype=np.bool_),
        weights=weights,
        follows=follows,
        pulling=pairs,
        before=before,
    )


def least_badness(found: Situation) -> float:
    """Weighted badness of all known pipes with none tuned, at the best reference.

    Every cent is tried, then every tenth around the best: the function is smooth, and this is a
    fifth of the work.
    """

    def whole(references: FloatArray) -> FloatArray:
        total: FloatArray = found.cost_at(references).sum(axis=1)
        return total

    cent = round(1.0 / REFERENCE_STEP_CENTS)
    best = cent * int(np.argmin(whole(REFERENCES_CENTS[::cent])))
    return float(whole(REFERENCES_CENTS[max(0, best - cent) : best + cent + 1]).min())


def _beating(
    parts: Parts,
    beat_hz: FloatArray,
    follows: FloatArray,
    references_cents: FloatArray = REFERENCES_CENTS,
) -> FloatArray:
    off = parts.cents - parts.each(follows) * references_cents[:, None]
    return parts.mean(heard_badness(off, parts.sigma_cents, parts.each(beat_hz)))


def _parts(known: Sequence[Known]) -> Parts:
    if any(isinstance(k, PipeForecast) for k in known):
        return Parts.of([belief_of(k) for k in known])
    heard = [k for k in known if isinstance(k, PipeCents)]
    return Parts(
        np.arange(len(heard)),
        np.ones(len(heard)),
        np.array([k.cents for k in heard], dtype=np.float64),
        np.array([k.sigma_cents for k in heard], dtype=np.float64),
    )


def pipe_offsets(
    organ: Organ,
    pitches: Mapping[str, DivisionPitch],
    known: Sequence[Known],
    tuned: Collection[PipeRef] = (),
) -> tuple[PipeOffset, ...]:
    """Each pipe that is known, weighed without an event; `tuned` as in `situation`."""
    layout = Layout.of(organ)
    found = situation(layout, pitches, known, weigh(layout, known), tuned=tuned)
    return tuple(found.offset(index) for index in range(len(known)))


def unheard_pull(
    layout: Layout,
    pitches: Mapping[str, DivisionPitch],
    place: IntArray,
    weights: Weights,
    references_cents: FloatArray = REFERENCES_CENTS,
) -> FloatArray:
    """Cost of leaving the present pitch for the flues that were not heard.

    They are assumed to be with their division. The sum is counted from the present pitch (reference
    0), so it adds nothing unless the reference moves: without it, a plan that heard one rank would
    move the organ's pitch to wherever that rank has gone.

    Parameters
    ----------
    layout : Layout
    pitches : mapping of division id to DivisionPitch
    place : (n,) array of int
        Index in the layout of each known pipe.
    weights : Weights
    references_cents : (k,) array

    Returns
    -------
    (k, divisions) array
    """
    organ = layout.organ
    flue = layout.flue
    flue[place] = False
    pull = np.zeros((len(references_cents), len(organ.divisions)))
    at = np.append(references_cents, 0.0)
    for index, division in enumerate(organ.divisions):
        which = np.flatnonzero(flue & (layout.division_of == index))
        if not len(which):
            continue
        pitch = pitches[division.id]
        air = _AirCents(organ).at(pitch.air_celsius)
        hz = layout.nominal_hz[which] * ratio_of_cents(air) * weights.beating_partial[which]
        sigma = float(np.hypot(UNHEARD_CENTS, pitch.sigma_cents))
        worth = (weights.whole[which] * heard_badness(at[:, None], sigma, hz)).sum(axis=1)
        pull[:, index] = worth[:-1] - worth[-1]
    return pull


class _AirCents:
    """Effect of air on a flue's pitch [cents], calculated once per temperature."""

    def __init__(self, organ: Organ) -> None:
        self._from = organ.pitch.at_celsius
        self._known: dict[float, float] = {}

    def at(self, celsius: float) -> float:
        if celsius not in self._known:
            self._known[celsius] = air_cents(self._from, celsius)
        return self._known[celsius]
