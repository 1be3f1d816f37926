"""Differences of air between divisions: how far one is above another at an event."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from walkboard.physics.air import pitch_ratio
from walkboard.quantities import cents_of_ratio

Numbers = NDArray[np.float64]

_NEAR_H = 1.5  # a log without a reading this close is not used for a moment [h]. Chosen.


@dataclass(frozen=True, slots=True)
class Apart:
    """How one division's flues compare with another's.

    Attributes
    ----------
    division, against : str
    celsius : float
        Mean difference of the air [K].
    cents : float
        How far its flues are above the others' [cents].
    spread_cents : float or None
        One standard deviation from event to event; None after a single one [cents].
    events : int
    """

    division: str
    against: str
    celsius: float
    cents: float
    spread_cents: float | None
    events: int


def air_at(hours: Numbers, celsius: Numbers, when_h: float) -> float | None:
    """The air of a log at a moment; None if it has no reading near it."""
    if len(hours) == 0 or np.abs(hours - when_h).min() > _NEAR_H:
        return None
    return float(np.interp(when_h, hours, celsius))


def divisions_apart(
    logs: Mapping[str, tuple[Numbers, Numbers]], starts_h: Sequence[float], against: str
) -> tuple[Apart, ...]:
    """Each division against one of them, at the starts of past events.

    Parameters
    ----------
    logs : mapping of division id to (hours, celsius)
        On one clock.
    starts_h : sequence of float
        When past events began, on the same clock [h].
    against : str
        The division the others are compared with.
    """
    found = []
    for division, (hours, celsius) in logs.items():
        if division == against:
            continue
        gaps, cents = [], []
        for start in starts_h:
            here, there = air_at(hours, celsius, start), air_at(*logs[against], start)
            if here is None or there is None:
                continue
            gaps.append(here - there)
            cents.append(cents_of_ratio(pitch_ratio(there, here)))
        if gaps:
            spread = float(np.std(cents, ddof=1)) if len(cents) > 1 else None
            mean = float(np.mean(cents))
            found.append(Apart(division, against, float(np.mean(gaps)), mean, spread, len(cents)))
    return tuple(found)
