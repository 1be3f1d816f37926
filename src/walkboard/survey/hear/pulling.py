"""Two pipes that pull each other, found by comparing them alone and together.

Two coupled pipes beat at √(Δf² − f_L²), Δf their difference alone and f_L half of the range in
which they lock (Adler 1946, see `physics.locking`); within it they sound in step and do not beat.
One hold cannot distinguish this from two pipes in tune. Holds in which each sounded alone can: if
the two are closer together than alone, by more than the uncertainty, they pull, and the reading
together is not where either would be alone.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from walkboard.listening.readings import Measured, without_value
from walkboard.listening.types import ReadingFlag
from walkboard.organ.model import PipeRef
from walkboard.physics.locking import may_lock
from walkboard.quantities import CENTS_PER_NEPER
from walkboard.survey.hear.heard_walk import HeardWalk, Reading
from walkboard.survey.hear.memory import Memory

_SURE = 3.0  # standard deviations
_BEAT_HZ = 0.05  # one standard deviation of a beat heard in the envelopes; chosen
_UNSTEADY_CENTS = 0.3  # change of a difference of two real pipes between holds; chosen


@dataclass(frozen=True, slots=True)
class Pull:
    """Two pipes that are closer in pitch together than alone.

    Attributes
    ----------
    first, second : PipeRef
    alone_hz, together_hz : float
        Their difference when each sounds alone, and together [Hz]; together 0 if they may be in
        step.
    sigma_hz : float
        One standard deviation of the difference between these two [Hz].
    """

    first: PipeRef
    second: PipeRef
    alone_hz: float
    together_hz: float
    sigma_hz: float

    @property
    def in_step(self) -> bool:
        """Whether they sound as one."""
        return self.together_hz == 0.0

    @property
    def locking_hz(self) -> float:
        """Half of their locking range [Hz]; if in step, its minimum."""
        return math.sqrt(max(0.0, self.alone_hz**2 - self.together_hz**2))

    @property
    def words(self) -> str:
        """A sentence for the tuner."""
        if self.in_step:
            return (
                f"{self.first} and {self.second} pull each other into step: together they do not "
                f"beat, alone they would {self.alone_hz:.2f} times a second. Tune each alone."
            )
        return (
            f"{self.first} and {self.second} pull each other: together they beat "
            f"{self.together_hz:.2f} times a second, alone they would {self.alone_hz:.2f}. "
            "Tune each alone."
        )


def pull_between(one: Reading, other: Reading, memory: Memory) -> Pull | None:
    """Whether two readings of one hold pull, compared with holds in which each sounded alone.

    None if it is not clear, if one was not heard alone, or if their difference together is unknown.
    """
    alone = [memory.alone.get(reading.pipe) for reading in (one, other)]
    first, second = alone
    if first is None or second is None:
        return None
    if not may_lock(first.hz, second.hz):
        return None
    together = _together_hz(one, other)
    if together is None:
        return None
    apart_hz, unsure_hz = together
    spread_cents = math.hypot(first.sigma_cents, second.sigma_cents, _UNSTEADY_CENTS)
    sigma_hz = math.hypot(spread_cents / CENTS_PER_NEPER * first.hz, unsure_hz)
    alone_hz = abs(first.hz - second.hz)
    if alone_hz - apart_hz < _SURE * sigma_hz:
        return None
    beats = apart_hz > 2.0 * unsure_hz
    return Pull(one.pipe, other.pipe, alone_hz, apart_hz if beats else 0.0, sigma_hz)


def _together_hz(one: Reading, other: Reading) -> tuple[float, float] | None:
    """How far apart two readings of one hold are, and one standard deviation [Hz].

    None if both have values: pipes that pull do not move steadily and get none.
    """
    if isinstance(one, Measured) and isinstance(other, Measured):
        return None
    if one.beat_hz is not None and one.beat_hz == other.beat_hz:
        return one.beat_hz, _BEAT_HZ
    bound, others = one.bound_or_none, other.bound_or_none
    if bound is None or others is None or bound.near_hz != others.near_hz or bound.either:
        return None
    return 0.0, bound.bound_cents / CENTS_PER_NEPER * bound.near_hz  # both are within it


def with_pulls(walk: HeardWalk, memory: Memory) -> tuple[HeardWalk, tuple[Pull, ...]]:
    """The walk with readings of pipes that pull flagged `locked`, and the pulls.

    Parameters
    ----------
    memory : Memory
        From holds of the same visit in which the pipes sounded without each other: a pipe tuned
        since then has moved for a different reason.
    """
    pulls: list[Pull] = []
    holds = []
    for hold in walk.holds:
        readings = list(hold.readings)
        for i, one in enumerate(hold.readings):
            for j in range(i + 1, len(hold.readings)):
                pull = pull_between(one, hold.readings[j], memory)
                if pull is not None:
                    pulls.append(pull)
                    # The pitch heard is not where either would be alone.
                    readings[i] = without_value(readings[i], ReadingFlag.LOCKED)
                    readings[j] = without_value(readings[j], ReadingFlag.LOCKED)
        holds.append(replace(hold, readings=tuple(readings)))
    said = tuple(dict.fromkeys((*walk.warnings, *(pull.words for pull in pulls))))
    return replace(walk, holds=tuple(holds), warnings=said), tuple(pulls)
