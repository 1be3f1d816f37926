"""Pairs of pipes that pull each other, from walks in which they sounded together and alone.

`walkboard.survey.hear.pulling` finds them and withholds their readings together; where each was
also heard alone, it is known how far each is drawn when both sound. Two that pull alike are drawn
to the middle between them (Adler 1946, see `walkboard.physics.locking`). Known error: flues in
step stand a little above both (Angster et al. 1993), which is left out.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from walkboard.condition.state import PipeCents
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import Organ, PipeRef
from walkboard.organ.targets import target_hz
from walkboard.physics.locking import may_lock
from walkboard.quantities import cents_of_ratio, ratio_of_cents
from walkboard.survey.hear.heard_walk import HeardWalk, Reading


@dataclass(frozen=True, slots=True)
class PullingPair:
    """Two pipes that are nearer together when both sound than each alone.

    Attributes
    ----------
    first, second : PipeRef
    apart_cents : float
        How far the first is above the second, each alone [cents].
    kept : float
        Share of that which is left when both sound; 0 where they sound in step.
    """

    first: PipeRef
    second: PipeRef
    apart_cents: float
    kept: float

    @property
    def drawn_cents(self) -> dict[PipeRef, float]:
        """How far each is drawn when both sound [cents], + is up."""
        half = 0.5 * (1.0 - self.kept) * self.apart_cents
        return {self.first: -half, self.second: half}


def pulling_pairs(
    organ: Organ, walks: Iterable[HeardWalk], pipes: Sequence[PipeCents]
) -> tuple[PullingPair, ...]:
    """The pairs that pull each other, as far as each was heard alone.

    Parameters
    ----------
    organ : Organ
    walks : iterable of HeardWalk
        Readings of pulling pipes carry the flag `locked`.
    pipes : sequence of PipeCents
        Where each pipe is alone.

    Returns
    -------
    tuple of PullingPair
        A pipe is in one of them at most: that with its nearest neighbour.
    """
    alone = {pipe.pipe: pipe for pipe in pipes}
    found: dict[tuple[PipeRef, PipeRef], PullingPair] = {}
    for walk in walks:
        if not walk.believed:
            continue
        air = organ.pitch.at_celsius if walk.air_celsius is None else walk.air_celsius
        for hold in walk.holds:
            locked = [r for r in hold.readings if ReadingFlag.LOCKED in r.flags]
            for n, one in enumerate(locked):
                for other in locked[n + 1 :]:
                    pair = _pair(organ, one, other, alone, air)
                    if pair is not None:
                        found[pair.first, pair.second] = pair
    taken: set[PipeRef] = set()
    nearest = []
    for pair in sorted(found.values(), key=lambda p: (abs(p.apart_cents), p.first, p.second)):
        if not taken & {pair.first, pair.second}:
            taken |= {pair.first, pair.second}
            nearest.append(pair)
    return tuple(sorted(nearest, key=lambda p: (p.first, p.second)))


def _pair(
    organ: Organ,
    one: Reading,
    other: Reading,
    alone: dict[PipeRef, PipeCents],
    air_celsius: float,
) -> PullingPair | None:
    first, second = sorted((one.pipe, other.pipe))
    if first not in alone or second not in alone or one.beat_hz != other.beat_hz:
        return None
    at = [
        target_hz(organ, pipe, air_celsius) * ratio_of_cents(alone[pipe].cents)
        for pipe in (first, second)
    ]
    if not may_lock(at[0], at[1]):
        return None
    apart_hz, together_hz = abs(at[0] - at[1]), one.beat_hz or 0.0
    if together_hz >= apart_hz:
        return None
    return PullingPair(first, second, cents_of_ratio(at[0] / at[1]), together_hz / apart_hz)
