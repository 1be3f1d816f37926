"""How ready an organ stays with the weeks after a visit: what a firm's round is planned from."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta

from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.fit import Learned
from walkboard.planning.listen.readiness import TOLERANCE_CENTS, Asking, Occasion
from walkboard.planning.rounds.benefit import Curve
from walkboard.planning.value.weight import WeightChange

AGES_WEEKS = (0.0, 4.0, 12.0, 26.0, 52.0)  # chosen: drift is fast at first, then slow


def readiness_course(
    drift: OrganDrift,
    learned: Learned,
    occasion: Occasion,
    today: date,
    minutes: float,
    *,
    changes: Sequence[WeightChange] = (),
) -> Curve:
    """Mean chance of the occasion's stops to be ready, by weeks since a visit today.

    The visit is planned on the forecast alone, so it is a lower bound of what a visit brings.

    Parameters
    ----------
    drift, learned, occasion, minutes, changes
        As for `walkboard.planning.listen.readiness.readiness_of`.
    today : date
        Of the visit.
    """
    ask = Asking(
        drift, learned, occasion, minutes, tolerance_cents=TOLERANCE_CENTS, changes=changes
    )
    after = ask.visited(today)
    found = (ask.mean_chance(after, today + timedelta(weeks=age)) for age in AGES_WEEKS)
    return Curve(AGES_WEEKS, tuple(found))


def unvisited(
    drift: OrganDrift,
    learned: Learned,
    occasion: Occasion,
    *,
    changes: Sequence[WeightChange] = (),
) -> float:
    """Mean chance of the occasion's stops to be ready if nobody comes before it."""
    ask = Asking(drift, learned, occasion, 0.0, tolerance_cents=TOLERANCE_CENTS, changes=changes)
    return ask.mean_chance(drift, occasion.at)
