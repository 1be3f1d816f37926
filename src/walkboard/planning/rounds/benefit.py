"""What visits in given weeks bring to an organ's events.

Each event counts by how ready the organ is for it: a chance that falls with the weeks since the
last visit. A visit helps the events after it; the best one counts. So one more visit never brings
more to an organ that has one than to an organ that has none (the sum is submodular).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from walkboard.planning.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Curve:
    """How ready an organ is, by weeks since it was tuned.

    Attributes
    ----------
    weeks : tuple of float
        Rising, from 0.
    readiness : tuple of float
        At each of them, 0 to 1; between them it is linear, after the last it stays.
    """

    weeks: tuple[float, ...]
    readiness: tuple[float, ...]

    def at(self, weeks: float) -> float:
        """Readiness so many weeks after a visit."""
        return float(np.interp(weeks, self.weeks, self.readiness))


@dataclass(frozen=True, slots=True)
class EventNeed:
    """An event that the organ should be ready for.

    Attributes
    ----------
    week : float
        From the start of the round; 2.5 is the middle of the third week.
    unvisited : float
        Readiness if nobody comes before it.
    weight : float
        1 for an ordinary event.
    """

    week: float
    unvisited: float
    weight: float = 1.0


def benefit_of(events: Sequence[EventNeed], curve: Curve, weeks: int) -> FloatArray:
    """What a visit in each week brings to each event.

    A visit takes place in the middle of its week as far as is known, and counts for an event of
    the same week only if that is in its last two days (Saturday, Sunday): a visit can be put
    before it.

    Returns
    -------
    (events, weeks) array
        Never negative: a visit that would not help, by the forecast, does not change the event.
    """
    found = np.zeros((len(events), weeks))
    for n, event in enumerate(events):
        for week in range(weeks):
            if event.week >= week + WEEKEND:
                gained = curve.at(event.week - (week + 0.5)) - event.unvisited
                found[n, week] = max(0.0, event.weight * gained)
    return found


WEEKEND = 5.0 / 7.0
"""Where Saturday begins in a week that starts on Monday: derived."""
