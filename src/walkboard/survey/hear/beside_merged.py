"""Values that are unusually unsure beside a pipe that could not be separated.

Two pipes an octave apart and nearly in tune share every partial of the upper one. Where the upper
one is merged, the lower one may have been found at the wrong place among their beats; its
uncertainty is then many times that of its neighbours, and still too small.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.readings import Measured, without_value
from walkboard.listening.types import ReadingFlag
from walkboard.survey.hear.heard_walk import Hold, Reading
from walkboard.survey.hear.memory import Memory


@dataclass(frozen=True, slots=True)
class Limits:
    """When a value beside a merged pipe is not given."""

    unsure_times: float = 4.0  # its neighbours' usual sigma; fitted by bench situations
    least_neighbours: int = 4  # fewer say nothing; chosen
    least_sigma_cents: float = 0.1  # surer ones are right beside any pipe; chosen


LIMITS = Limits()


def without_doubtful(holds: Sequence[Hold], memory: Memory) -> tuple[Hold, ...]:
    """The holds without such values.

    Parameters
    ----------
    holds : sequence of Hold
    memory : Memory
        Of the same walk.
    """

    def judged(reading: Reading, hold: Hold) -> Reading:
        if not isinstance(reading, Measured) or reading.sigma_cents < LIMITS.least_sigma_cents:
            return reading
        others = [one for one in hold.readings if one is not reading]
        if not any(ReadingFlag.MERGED in one.flags for one in others):
            return reading
        beside = [one.sigma_cents for one in memory.neighbours(reading.pipe)]
        if len(beside) < LIMITS.least_neighbours:
            return reading
        if reading.sigma_cents < LIMITS.unsure_times * float(np.median(beside)):
            return reading
        return without_value(reading, ReadingFlag.MERGED)

    return tuple(
        replace(hold, readings=tuple(judged(reading, hold) for reading in hold.readings))
        for hold in holds
    )
