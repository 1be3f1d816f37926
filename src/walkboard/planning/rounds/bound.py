"""What no round can exceed: the linear relaxation, solved exactly (HiGHS).

Visits and trips may be fractions. Two visits to one organ count as if each were alone, which is
never too little (see `walkboard.planning.rounds.benefit`). So every round is worth at most this.
"""

from __future__ import annotations

import numpy as np
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from walkboard.planning.arrays import FloatArray
from walkboard.planning.rounds.kinds import Firm, Prices, Stop


def bound_of(firm: Firm, prices: Prices, before: tuple[Stop, ...] = ()) -> float:
    """An upper bound on the worth of a round.

    Parameters
    ----------
    firm : Firm
    prices : Prices
    before : tuple of Stop
        The round before.
    """
    o, w, t = np.nonzero(firm.allowed)
    if not len(o):
        return -prices.moved_visit * len(before)
    gain = np.stack([b.sum(axis=0) for b in firm.benefit])[o, w]
    stays = set(before)
    gain = gain + prices.moved_visit * np.array(
        [Stop(*one) in stays for one in zip(o.tolist(), w.tolist(), t.tolist(), strict=True)]
    )
    n = len(o)
    # One trip for each town, week and tuner; driving is charged to it.
    _, weeks, tuners = firm.shape
    trip_of, trip = np.unique(
        np.ravel_multi_index((firm.town[o], w, t), (len(firm.driving_hours.T), weeks, tuners)),
        return_inverse=True,
    )
    town, trip_week, trip_tuner = np.unravel_index(
        trip_of, (len(firm.driving_hours.T), weeks, tuners)
    )
    driving = firm.driving_hours[trip_tuner, town]
    m = len(trip_of)
    rows: list[sparse.csr_array] = []
    limits: list[FloatArray] = []

    def add(visits: sparse.csr_array, trips: sparse.csr_array, at_most: FloatArray) -> None:
        rows.append(sparse.hstack([visits, trips]).tocsr())
        limits.append(at_most)

    ones, visits = np.ones(n), np.arange(n)
    add(
        sparse.csr_array((ones, (o, visits)), (firm.shape[0], n)),
        sparse.csr_array((firm.shape[0], m)),
        firm.most_visits.astype(float),
    )
    slot, trip_slot = w * tuners + t, trip_week * tuners + trip_tuner
    add(
        sparse.csr_array((firm.hours[o], (slot, visits)), (weeks * tuners, n)),
        sparse.csr_array((driving, (trip_slot, np.arange(m))), (weeks * tuners, m)),
        firm.capacity_hours.ravel(),
    )
    holder = firm.key_holder[o]
    held = holder >= 0
    if held.any():
        size = firm.key_holder_hours.size
        add(
            sparse.csr_array(
                (firm.hours[o[held]], (holder[held] * weeks + w[held], visits[held])), (size, n)
            ),
            sparse.csr_array((size, m)),
            firm.key_holder_hours.ravel(),
        )
    add(
        sparse.csr_array((ones, (visits, visits)), (n, n)),
        sparse.csr_array((-ones, (visits, trip)), (n, m)),
        np.zeros(n),
    )
    found = milp(
        -np.concatenate([gain, -prices.driving_hour * driving]),
        constraints=LinearConstraint(sparse.vstack(rows).tocsc(), ub=np.concatenate(limits)),
        bounds=Bounds(0.0, 1.0),
    )
    if found.status != 0:
        return float("inf")
    return -float(found.fun) - prices.moved_visit * len(before)
