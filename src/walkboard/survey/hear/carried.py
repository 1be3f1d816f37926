"""Whether the microphone moved while the walk was recorded."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.listening.readings import Measured
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.hear.settling import unlike_neighbours
from walkboard.survey.recognise.limits import LIMITS as RECOGNITION


@dataclass(frozen=True, slots=True)
class Limits:
    """When movement within the holds counts."""

    moved_from_hz: float = 150.0  # lower pipes settle within the hold as far as that; chosen
    least_holds: int = 6  # fewer say nothing about what is usual; chosen


LIMITS = Limits()


def moved_cents(holds: Sequence[Hold]) -> float | None:
    """How much pitch moves within the holds, if more than pipes and wind can cause [cents].

    Low pipes settle within the hold, so for them only what remains without the settling counts, or
    that each settles otherwise than the next. A microphone that moves moves every pipe of a hold
    alike, so the calmest of them decides.
    """
    wander = []
    restless = []
    for hold in holds:
        read = [r for r in hold.readings if isinstance(r, Measured)]
        wander += [
            r.wander_cents
            for r in read
            if r.wander_cents is not None and r.hz > LIMITS.moved_from_hz
        ]
        slow = [r.slow.restless_cents for r in read if r.slow is not None]
        if slow:
            restless.append(min(slow))
    for moved, most in (
        (wander, RECOGNITION.moved_cents),
        (restless, RECOGNITION.restless_cents),
        (list(unlike_neighbours(holds).values()), RECOGNITION.unlike_cents),
    ):
        if len(moved) >= LIMITS.least_holds and (usual := float(np.median(moved))) > most:
            return usual
    return None
