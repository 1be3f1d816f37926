"""Minutes to tune a pipe and to reach it.

No published figures were found. These are common practice, no source: 1 to 2 minutes for a flue
that moves, 1 for a reed that is touched up, both with the key holder ready and the stop drawn. A
rank's own `minutes` in the description take their place. Waiting for the warmth of the hand to go
is not in them: the next pipe is tuned meanwhile; hearing the pipes once more that it disturbed is.
"""

from __future__ import annotations

import math
from types import MappingProxyType

from walkboard.condition.kinds import Role
from walkboard.organ.model import Rank, TunedBy

STEP_MINUTES = 0.05  # time is counted in whole steps of this

BY_TUNING = MappingProxyType(
    {
        TunedBy.SLIDE: 1.0,
        TunedBy.CONE: 1.2,
        TunedBy.ROLL: 1.5,
        TunedBy.STOPPER: 1.2,
        TunedBy.CAP: 1.5,
        TunedBy.EARS: 1.5,
        TunedBy.SHADE: 1.5,
        TunedBy.SPRING: 1.0,
    }
)
LARGE_HZ = 65.0  # below 8′ C pipes are out of reach: half as long again
LARGE_FACTOR = 1.5
# Hands warm the pipes beside the one they tune: each is heard once more when its rank is done. A
# tool at a spring or a cone warms nothing. Common practice, no source.
RECHECK_MINUTES = 0.1
BY_HAND = frozenset(set(TunedBy) - {TunedBy.SPRING, TunedBy.CONE})
# Of two that pull, each is tuned with the other silent, and both are heard at the end. Common
# practice, no source.
PULLING_MINUTES = 0.3
MIXTURE_EXTRA = 0.3  # its neighbours must be muted

RANK_MINUTES = 1.0  # draw the stop, silence the others, tell the key holder, get within reach
ARRIVE_MINUTES = 1.0  # from the console to the first chest
CHECK_MINUTES = 2.0  # to check the reference rank before tuning to it
COMING_IN_MINUTES = ARRIVE_MINUTES + CHECK_MINUTES
WALK_NEAR_MINUTES = 0.5  # between chests of a division, if the description says nothing
WALK_FAR_MINUTES = 2.0  # between chests of two divisions


def pipe_minutes(rank: Rank, number: int, role: Role, hz: float, *, pulls: bool = False) -> float:
    """Minutes to tune one pipe, in whole steps.

    Parameters
    ----------
    rank : Rank
    number : int
        Of the pipe in its rank.
    role : Role
    hz : float
        The pipe's pitch.
    pulls : bool
        Whether another pipe draws it when both sound.
    """
    if rank.minutes is not None:
        minutes = rank.minutes
    else:
        tuned_by = rank.tuned_by_of(number)
        minutes = BY_TUNING[tuned_by]
        if tuned_by in BY_HAND:
            minutes += RECHECK_MINUTES
        if role is Role.MIXTURE:
            minutes += MIXTURE_EXTRA
        if hz < LARGE_HZ:
            minutes *= LARGE_FACTOR
    minutes += PULLING_MINUTES if pulls else 0.0
    return in_minutes(max(1, in_steps(minutes)))


def in_steps(minutes: float) -> int:
    """Minutes in whole steps of time, rounded up."""
    return math.ceil(minutes / STEP_MINUTES - 1e-6)


def in_minutes(steps: int) -> float:
    """Minutes of so many steps, without rounding errors."""
    return round(steps * STEP_MINUTES, 2)
