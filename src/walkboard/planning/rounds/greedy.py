"""Most benefit an hour first."""

from __future__ import annotations

import numpy as np

from walkboard.planning.rounds.kinds import Stop
from walkboard.planning.rounds.state import BeingBuilt


def fill(built: BeingBuilt) -> None:
    """Add the visit that is worth most an hour, until none that fits is worth its price."""
    organs = list(range(built.firm.shape[0]))
    if not organs:
        return
    rate = _rate(built, organs)
    while rate.size:
        at = int(np.argmax(rate))
        if not rate.flat[at] > 0.0:
            return
        organ, week, tuner = (int(n) for n in np.unravel_index(at, rate.shape))
        stop = Stop(organ, week, tuner)
        if not built.fits(stop):  # hours went to others since it was worked out
            rate[organ, week, tuner] = 0.0
            continue
        built.add(stop)
        near = built.same_trip(stop)
        rate[near] = _rate(built, near)


def _rate(
    built: BeingBuilt, organs: list[int]
) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    worth = np.where(built.fitting(organs), built.worth(organs), 0.0)
    found: np.ndarray[tuple[int, ...], np.dtype[np.float64]] = worth / built.hours(organs)
    return found
