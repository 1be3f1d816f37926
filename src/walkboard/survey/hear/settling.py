"""Low pipes settle alike: where one seems to settle otherwise, the room moved its pitch.

A 16′ needs a second to settle, and its sound is one or two partials. Where the room nearly cancels
the fundamental, its phase strays, and the hold alone cannot distinguish that from a pipe that
moves. The pipes next to it can: they are on the same wind and voiced alike, so their pitch rises
alike between the beginning and the end of their holds.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from walkboard.listening.readings import Measured
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import Hold, Reading


@dataclass(frozen=True, slots=True)
class Limits:
    """When a pipe settles unlike its neighbours, and what that says about its value."""

    below_hz: float = 150.0  # higher pipes have settled before the window begins; chosen
    neighbours: int = 4  # on either side; chosen
    least_neighbours: int = 4  # fewer say nothing; chosen
    alike_cents: float = 0.5  # that the rises of neighbours differ by: wind, voicing; fitted
    unsure: float = 0.35  # cents of the mean for each cent of a rise that the room made; fitted by
    # bench situations (16′ and low 8′ in rooms of 2 to 3 s)


LIMITS = Limits()


def unlike_neighbours(holds: Sequence[Hold]) -> dict[PipeRef, float]:
    """How much each pipe's rise within its hold differs from its neighbours' [cents].

    Pipes with few neighbours are left out.
    """
    rises = {
        reading.pipe: reading.slow.rise_cents
        for hold in holds
        for reading in hold.readings
        if isinstance(reading, Measured) and reading.slow is not None
    }
    away: dict[PipeRef, float] = {}
    for pipe, rise in rises.items():
        steps = range(-min(LIMITS.neighbours, pipe.number - 1), LIMITS.neighbours + 1)
        others = [PipeRef(pipe.rank, pipe.number + step) for step in steps if step]
        beside = [rises[other] for other in others if other in rises]
        if len(beside) >= LIMITS.least_neighbours:
            away[pipe] = abs(rise - float(np.median(beside)))
    return away


def less_sure(holds: Sequence[Hold]) -> tuple[Hold, ...]:
    """The holds, with a larger sigma for low pipes that settle unlike their neighbours."""
    away = unlike_neighbours(holds)

    def judged(reading: Reading) -> Reading:
        apart = away.get(reading.pipe, 0.0) - LIMITS.alike_cents
        if apart <= 0.0 or not isinstance(reading, Measured) or reading.hz > LIMITS.below_hz:
            return reading
        sigma_cents = math.hypot(reading.sigma_cents, LIMITS.unsure * apart)
        return replace(reading, sigma_cents=sigma_cents)

    return tuple(
        replace(hold, readings=tuple(judged(reading) for reading in hold.readings))
        for hold in holds
    )
