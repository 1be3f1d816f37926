"""A pipe that was called done and keeps sounding: followed for a while, in case it moves."""

from __future__ import annotations

from dataclasses import dataclass

from walkboard.listening.live.readings import LiveFlag, LiveReading
from walkboard.quantities import cents_between
from walkboard.work.live.values import Result, Task

_LINGER_S = 8.0  # how long it is followed; chosen
_GONE_DB = 6.0  # this much quieter, it is only the room; chosen
_AWAY_CENTS = 0.6  # this far from where it was, it has moved; chosen
_LOOKS = 3  # looks in a row that show it has moved, or that another pipe sounds; chosen
_SHARED_CENTS = 60.0  # partials of two pipes this close could be confused; chosen


@dataclass(slots=True)
class Lingering:
    """A pipe that was just called done: what it was, its pitch and level, since when.

    `strange` and `others` count looks in a row with a different pitch, and with another pipe.
    """

    result: Result
    stood_cents: float
    own_db: float
    since_s: float
    strange: int = 0
    others: int = 0

    def is_over(self, reading: LiveReading) -> bool:
        """Whether it is no longer heard alone, or has been followed long enough."""
        quieter = reading.own_db is not None and reading.own_db < self.own_db - _GONE_DB
        late = reading.at_s - self.since_s > _LINGER_S
        self.others = self.others + 1 if LiveFlag.NEIGHBOUR in reading.flags else 0
        return reading.cents is None or quieter or self.others >= _LOOKS or late

    def has_moved(self, cents: float, sigma_cents: float) -> bool:
        """Whether several looks in a row found it elsewhere."""
        if abs(cents - self.stood_cents) <= max(_AWAY_CENTS, 4.0 * sigma_cents):
            self.strange = 0
            return False
        self.strange += 1
        return self.strange >= _LOOKS


def may_linger(task: Task, following: Task) -> bool:
    """Whether a pipe's pitch differs enough from the next one's to keep following it."""
    return all(
        abs(cents_between(n * task.target_hz, m * following.target_hz)) > _SHARED_CENTS
        for n in range(1, 7)
        for m in range(1, 7)
    )
