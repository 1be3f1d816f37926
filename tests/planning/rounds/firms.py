"""Invented firms of any size."""

from __future__ import annotations

import numpy as np

from walkboard.planning.rounds.benefit import Curve, EventNeed, benefit_of
from walkboard.planning.rounds.kinds import Firm

AGES = (0.0, *(4.0 * n for n in range(1, 27)))


def invented_firm(
    seed: int,
    *,
    organs: int,
    weeks: int = 26,
    tuners: int = 4,
    hours_a_week: float = 40.0,
    most_visits: int = 1,
) -> Firm:
    """Organs in towns of an area 120 km wide, each with its drift, events and closed weeks."""
    rng = np.random.default_rng(seed)
    towns = max(1, organs * 2 // 3)
    places = rng.uniform(0.0, 120.0, (towns, 2))
    homes = rng.uniform(30.0, 90.0, (tuners, 2))
    km = np.hypot(*(places[None] - homes[:, None]).transpose(2, 0, 1))
    benefit = []
    for _ in range(organs):
        unvisited_weeks, lasts_weeks = rng.uniform(0.0, 60.0), rng.uniform(10.0, 60.0)
        curve = Curve(AGES, tuple(0.97 * np.exp(-np.array(AGES) / lasts_weeks)))
        at = np.sort(rng.uniform(0.0, weeks, rng.integers(1, 7)))
        events = [
            EventNeed(week, curve.at(unvisited_weeks + week), rng.choice([0.5, 1.0, 2.0]))
            for week in at
        ]
        benefit.append(benefit_of(events, curve, weeks))
    allowed = np.ones((organs, weeks, tuners), dtype=bool)
    allowed[rng.random((organs, weeks)) < 0.1] = False
    capacity = np.full((weeks, tuners), hours_a_week)
    capacity[rng.random((weeks, tuners)) < 0.08] = 0.0
    holders = max(1, organs // 10)
    return Firm(
        benefit=tuple(benefit),
        hours=rng.choice([2.0, 3.0, 4.0, 6.0, 8.0], organs),
        most_visits=np.full(organs, most_visits),
        allowed=allowed,
        capacity_hours=capacity,
        town=rng.integers(0, towns, organs),
        driving_hours=2.0 * km * 1.4 / 60.0,
        key_holder=np.where(rng.random(organs) < 0.3, rng.integers(0, holders, organs), -1),
        key_holder_hours=np.full((holders, weeks), 8.0),
    )
