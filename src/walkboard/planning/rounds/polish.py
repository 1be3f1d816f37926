"""The exact solver's try at a better round: CP-SAT of OR-Tools, an optional extra."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import numpy as np

from walkboard.errors import InputError
from walkboard.planning.rounds.kinds import Firm, Prices, Stop

_GAIN_UNIT = 1e-4  # CP-SAT counts in whole numbers: readiness in ten-thousandths. Chosen.
_HOUR_UNIT = 1.0 / 60.0  # and hours in minutes, visits and drives rounded up
_LEAST_GAIN = 1e-4


def polish(
    firm: Firm,
    prices: Prices,
    found: tuple[Stop, ...],
    before: tuple[Stop, ...],
    *,
    limit_s: float,
    workers: int = 2,
) -> tuple[Stop, ...]:
    """A round at least as good as the one found, within a time limit.

    Organs visited at most once are solved exactly; those that may be visited more often keep the
    visits they have.

    Raises
    ------
    InputError
        If OR-Tools is not installed.
    """
    try:
        from ortools.sat.python import cp_model  # noqa: PLC0415 (an optional extra)
    except ImportError:
        raise InputError(
            "The exact solver is not installed.",
            fix="Install the extra: pip install 'walkboard[round]'; or leave --polish out.",
        ) from None
    model = cp_model.CpModel()
    single = firm.most_visits <= 1
    fixed = [stop for stop in found if not single[stop.organ]]
    chosen, stays = set(found), set(before)
    visits: dict[Stop, Any] = {}
    by_organ, by_slot, by_trip, by_holder = (defaultdict(list) for _ in range(4))
    worth: list[Any] = []
    gains = [b.sum(axis=0) for b in firm.benefit]
    for o, w, t in zip(*(a.tolist() for a in np.nonzero(firm.allowed)), strict=True):
        stop = Stop(o, w, t)
        gain = gains[o][w] + (prices.moved_visit if stop in stays else 0.0)
        if not single[o] or (gain < _LEAST_GAIN and stop not in chosen):
            continue
        visits[stop] = var = model.new_bool_var("")
        model.add_hint(var, stop in chosen)
        by_organ[o].append(var)
        by_slot[w, t].append((_minutes(firm.hours[o]), var))
        by_trip[firm.town[o], w, t].append(var)
        if firm.key_holder[o] >= 0:
            by_holder[firm.key_holder[o], w].append((_minutes(firm.hours[o]), var))
        worth.append(round(gain / _GAIN_UNIT) * var)
    for own in by_organ.values():
        model.add_at_most_one(own)
    taken: dict[tuple[int, int], int] = defaultdict(int)
    gone = {(int(firm.town[s.organ]), s.week, s.tuner) for s in fixed}
    for stop in fixed:
        taken[stop.week, stop.tuner] += _minutes(firm.hours[stop.organ])
    for town, week, tuner in gone:
        taken[week, tuner] += _minutes(firm.driving_hours[tuner, town])
    for (town, week, tuner), own in by_trip.items():
        if (int(town), week, tuner) in gone:
            continue
        trip = model.new_bool_var("")
        for var in own:
            model.add_implication(var, trip)
        model.add_hint(
            trip,
            any(firm.town[s.organ] == town and s.week == week and s.tuner == tuner for s in chosen),
        )
        hours = float(firm.driving_hours[tuner, town])
        by_slot[week, tuner].append((_minutes(hours), trip))
        worth.append(-round(prices.driving_hour * hours / _GAIN_UNIT) * trip)
    for (week, tuner), parts in by_slot.items():
        most = int(firm.capacity_hours[week, tuner] / _HOUR_UNIT) - taken[week, tuner]
        model.add(sum(minutes * var for minutes, var in parts) <= most)
    for (holder, week), parts in by_holder.items():
        used = sum(
            _minutes(firm.hours[s.organ])
            for s in fixed
            if firm.key_holder[s.organ] == holder and s.week == week
        )
        most = int(firm.key_holder_hours[holder, week] / _HOUR_UNIT) - used
        model.add(sum(minutes * var for minutes, var in parts) <= most)
    model.maximize(sum(worth))
    solver = cp_model.CpSolver()
    solver.parameters.max_time_in_seconds = limit_s
    solver.parameters.num_workers = workers
    if solver.solve(model) not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        return found
    return tuple(sorted([*fixed, *(s for s, var in visits.items() if solver.boolean_value(var))]))


def _minutes(hours: float) -> int:
    return int(np.ceil(hours / _HOUR_UNIT - 1e-6))
