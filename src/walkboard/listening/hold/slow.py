"""How far a pipe's pitch moves slowly within a hold, apart from settling after its attack.

A pipe settles towards one pitch within a few dozen of its periods, which takes a 16′ longer than a
second, and a calm wind leaves it there. Wind that shakes does so at 3 Hz and faster. A microphone
that is carried moves the pitch of everything slowly, to and fro, in proportion to its speed.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from walkboard.listening.hold.movement import Floats
from walkboard.listening.types import SlowMovement
from walkboard.quantities import CENTS_PER_NEPER


@dataclass(frozen=True, slots=True)
class Limits:
    """What counts as slow, and as settling."""

    fastest_hz: float = (
        1.0  # a hand or a walking person moves no faster; fitted by bench situations
    )
    settling_periods: tuple[float, ...] = (10.0, 20.0, 30.0, 40.0, 60.0)
    # time constants of settling [periods]: a 16′ speaks within about a second; common practice
    points: int = 64  # at which the course is compared; chosen


LIMITS = Limits()


def slow_movement(course: Floats, hz: float, seconds: float) -> SlowMovement:
    """The slow movement of a pipe within a window.

    Parameters
    ----------
    course : ndarray, shape (1 + terms,)
        Mean frequency and wander coefficients of the window's cosine basis [Hz].
    hz : float
        The pipe's frequency.
    seconds : float
        Length of the window.
    """
    k = np.arange(1, len(course))
    slow = k <= 2.0 * seconds * LIMITS.fastest_hz
    times_s = (np.arange(LIMITS.points) + 0.5) / LIMITS.points * seconds
    moved = np.cos(np.outer(times_s, k[slow]) * (np.pi / seconds)) @ course[1:][slow]
    cents = CENTS_PER_NEPER / hz
    rise = cents * float(moved[-1] - moved[0])
    moved -= moved.mean()
    least = float(moved @ moved)
    for periods in LIMITS.settling_periods:
        settling = np.exp(-times_s * hz / periods)
        settling -= settling.mean()
        size = float(settling @ settling)
        if size > 0.0:
            least = min(least, float(moved @ moved) - float(settling @ moved) ** 2 / size)
    return SlowMovement(rise, cents * float(np.sqrt(max(least, 0.0) / LIMITS.points)))
