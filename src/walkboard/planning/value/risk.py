"""Pipes whose tuning is risky: the chance of making them worse, and the text for the tuner.

Common practice, no source for the figures. Repeated coning stresses the tops of pipes and splits
their seams (builders' posts in a forum of organ builders). A pipe far off usually has more wrong
with it than its pitch: a slipped stopper, dust, a loose tongue; moving it that far may not hold.
The cost of a tuned pipe includes that chance, so a plan only takes such a pipe if it is worth it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from walkboard.organ.model import TunedBy
from walkboard.planning.arrays import FloatArray

# Chance that the work leaves the pipe practically completely out of tune, by tuning device.
CHANCE: Mapping[TunedBy, float] = MappingProxyType(
    {
        TunedBy.SLIDE: 0.0,
        TunedBy.STOPPER: 0.005,
        TunedBy.SPRING: 0.005,
        TunedBy.SHADE: 0.005,
        TunedBy.CAP: 0.01,
        TunedBy.ROLL: 0.02,
        TunedBy.CONE: 0.02,
        TunedBy.EARS: 0.02,
    }
)
FAR_CENTS = 30.0  # from here on a pipe probably has more wrong with it than its pitch
FAR_CHANCE = 0.15
CONED_CENTS = 12.0  # a cone that must do more than this stresses the pipe
CONED_CHANCE = 0.1
RISKY = 0.1  # from this chance on, tuning a pipe is called risky


class RiskyPipes(StrEnum):
    """What to do with pipes whose tuning is risky."""

    COUNT = "count"  # the chance is counted in the cost
    LEAVE = "leave"  # they are not planned


@dataclass(frozen=True, slots=True)
class Risk:
    """The chance that tuning a pipe leaves it worse [-], and why."""

    chance: float
    why: str

    @property
    def is_risky(self) -> bool:
        """Whether to mention it."""
        return self.chance >= RISKY


def chances(base: FloatArray, is_coned: FloatArray, move_cents: FloatArray) -> FloatArray:
    """Chance that tuning makes each pipe worse.

    Parameters
    ----------
    base : (n,) array
        From `CHANCE`.
    is_coned : (n,) array
        1 for cone-tuned pipes.
    move_cents : (n,) array
        How far each must be moved [cents].
    """
    size = np.abs(move_cents)
    coned = np.where((is_coned > 0.0) & (size > CONED_CENTS), CONED_CHANCE, 0.0)
    far = np.where(size > FAR_CENTS, FAR_CHANCE, 0.0)
    chance: FloatArray = 1.0 - (1.0 - base) * (1.0 - coned) * (1.0 - far)
    return chance


def risk_of(tuned_by: TunedBy, move_cents: float) -> Risk:
    """Risk of tuning one pipe, as text."""
    is_coned = tuned_by is TunedBy.CONE
    chance = chances(
        np.array([CHANCE[tuned_by]]), np.array([float(is_coned)]), np.array([move_cents])
    )
    if abs(move_cents) > FAR_CENTS:
        why = "so far off that something else may be wrong: look before moving it"
    elif is_coned and abs(move_cents) > CONED_CENTS:
        why = "much for a cone: go gently, and leave it if the top is worn"
    else:
        why = ""
    return Risk(float(chance[0]), why)
