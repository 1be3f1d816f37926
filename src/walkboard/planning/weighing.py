"""How much a pipe counts: by its loudness, its place on the keyboard, and its kind.

A weight of 1 is an open flue pipe of average loudness in the middle of its keyboard. The three
factors are multiplied. Which factor a tuner would set otherwise is a matter of taste: every one is
a constant here, and `walkboard.planning.words.explain` says what each pipe's are.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from walkboard.condition.kinds import Role
from walkboard.condition.state import PipeCents
from walkboard.organ.model import Family, Organ, PipeRef

# Loudness doubles with every 10 dB (the sone: Stevens 1936; ISO 532-1; from memory). Recordings
# differ in gain and place, so a level is believed for a factor of two either way and no more.
DB_TO_DOUBLE = 10.0
MOST_LOUD, MOST_SOFT = 2.0, 0.5

# Keys at the ends of the keyboard are played less than those in the middle: common practice, no
# source. 1 in the middle, falling with the square of the distance to this at either end.
AT_THE_ENDS = 0.5

# What the listener makes of the kind: common practice, no source. A reed's many strong partials
# beat against everything; a row of a mixture is one voice of many; a celeste is meant to beat.
KIND_WEIGHTS = MappingProxyType(
    {
        Role.UNISON: 1.0,
        Role.REED: 1.2,
        Role.MUTATION: 0.8,
        Role.MIXTURE: 0.5,
        Role.CELESTE: 0.4,
    }
)
STOPPED_WEIGHT = 0.8  # stopped and chimney unisons: few partials to beat with


@dataclass(frozen=True, slots=True)
class Weight:
    """The factors of one pipe's weight [-] and their product."""

    level: float
    register: float
    kind: float

    @property
    def whole(self) -> float:
        """The pipe's weight."""
        return self.level * self.register * self.kind


def average_level_db(organ: Organ, pipes: Sequence[PipeCents]) -> float | None:
    """Median level of the flues heard, else of all pipes heard; None where no level is known."""
    levels = [(p.level_db, organ.rank(p.pipe.rank).family.is_flue) for p in pipes]
    flues = [level for level, is_flue in levels if level is not None and is_flue]
    known = flues or [level for level, _ in levels if level is not None]
    return float(np.median(known)) if known else None


def weigh(organ: Organ, role: Role, pipe: PipeCents, average_db: float | None) -> Weight:
    """Weight of a pipe that was heard.

    Parameters
    ----------
    organ : Organ
    role : Role
        Of the pipe's rank.
    pipe : PipeCents
    average_db : float or None
        From `average_level_db`; where it or the pipe's own level is unknown, loudness is average.
    """
    level = 1.0
    if pipe.level_db is not None and average_db is not None:
        level = float(
            np.clip(2.0 ** ((pipe.level_db - average_db) / DB_TO_DOUBLE), MOST_SOFT, MOST_LOUD)
        )
    return Weight(level, *weigh_unheard(organ, role, pipe.pipe))


def weigh_unheard(organ: Organ, role: Role, pipe: PipeRef) -> tuple[float, float]:
    """Factors of register and kind, which need no hearing."""
    rank = organ.rank(pipe.rank)
    division = organ.division(rank.division)
    middle = 0.5 * (division.keys - 1)
    place = rank.key_of(pipe.number).semitone - division.lowest.semitone
    aside = min(1.0, abs(place - middle) / middle) if middle > 0.0 else 0.0
    register = 1.0 - (1.0 - AT_THE_ENDS) * aside**2
    kind = KIND_WEIGHTS[role]
    if role is Role.UNISON and rank.family is not Family.OPEN:
        kind *= STOPPED_WEIGHT
    return register, kind
