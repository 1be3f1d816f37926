"""Rounds against every round there is, against HiGHS, and against what a firm would object to."""

from __future__ import annotations

import sys
from itertools import combinations

import numpy as np
import pytest
from scipy import sparse
from scipy.optimize import Bounds, LinearConstraint, milp

from tests.planning.rounds.firms import invented_firm
from walkboard.errors import InputError
from walkboard.planning.rounds.bound import bound_of
from walkboard.planning.rounds.kinds import Firm, Prices, Round, Stop
from walkboard.planning.rounds.solve import solve_round

PRICES = Prices()


def broken(firm: Firm, stops: tuple[Stop, ...]) -> list[str]:
    """What a firm would object to, counted again from the firm's own figures."""
    found = []
    weeks, tuners = firm.capacity_hours.shape
    for week in range(weeks):
        for tuner in range(tuners):
            mine = [s for s in stops if (s.week, s.tuner) == (week, tuner)]
            towns = {int(firm.town[s.organ]) for s in mine}
            hours = sum(firm.hours[s.organ] for s in mine)
            hours += sum(firm.driving_hours[tuner, town] for town in towns)
            if hours > firm.capacity_hours[week, tuner] + 1e-6:
                found.append(f"tuner {tuner} works {hours:.1f} hours in week {week}")
        for holder in range(len(firm.key_holder_hours)):
            held = sum(
                firm.hours[s.organ]
                for s in stops
                if s.week == week and firm.key_holder[s.organ] == holder
            )
            if held > firm.key_holder_hours[holder, week] + 1e-6:
                found.append(f"key holder {holder} in week {week}")
    found += [f"{s} is not allowed" for s in stops if not firm.allowed[s.organ, s.week, s.tuner]]
    for organ in range(firm.shape[0]):
        own = [s.week for s in stops if s.organ == organ]
        if len(own) > firm.most_visits[organ] or len(set(own)) < len(own):
            found.append(f"organ {organ} in weeks {own}")
    return found


def worth(firm: Firm, stops: tuple[Stop, ...]) -> float:
    """Benefit less driving, counted independently."""
    total = 0.0
    for organ, benefit in enumerate(firm.benefit):
        weeks = [s.week for s in stops if s.organ == organ]
        if weeks:
            total += float(benefit[:, weeks].max(axis=1).sum())
    trips = {(int(firm.town[s.organ]), s.week, s.tuner) for s in stops}
    driven = sum(float(firm.driving_hours[t, p]) for p, _, t in trips)
    return total - PRICES.driving_hour * driven


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("hours", [40.0, 12.0])
def test_nobody_gets_more_than_fits(seed: int, hours: float) -> None:
    firm = invented_firm(seed, organs=30, hours_a_week=hours, most_visits=1 + seed % 2)
    found = solve_round(firm)
    assert broken(firm, found.stops) == []
    assert found.worth == pytest.approx(worth(firm, found.stops))
    assert found.stops
    assert found.worth <= found.bound + 1e-9


def test_the_objections_see_too_much_work() -> None:
    firm = invented_firm(0, organs=30, hours_a_week=12.0)
    crowd = tuple(Stop(organ, 3, 0) for organ in range(30))
    assert any("works" in words for words in broken(firm, crowd))


def test_in_small_firms_the_best_of_all_rounds_is_found_or_nearly() -> None:
    shares = []
    for seed in range(8):
        firm = invented_firm(seed, organs=4, weeks=4, tuners=1, hours_a_week=11.0)
        every = [Stop(o, w, 0) for o in range(4) for w in range(4) if firm.allowed[o, w, 0]]
        best = 0.0
        for count in range(1, 5):
            for stops in combinations(every, count):
                if not broken(firm, stops):
                    best = max(best, worth(firm, stops))
        found = solve_round(firm)
        assert found.bound >= best - 1e-9
        shares.append(found.worth / best)
    assert min(shares) >= 0.9
    assert np.mean(shares) >= 0.98


@pytest.mark.parametrize("seed", [3, 4])
def test_the_round_is_near_the_optimum_of_an_exact_solver(seed: int) -> None:
    """HiGHS as mixed-integer solver, on a separate model written here."""
    firm = invented_firm(seed, organs=14, weeks=6, tuners=2, hours_a_week=14.0)
    found = solve_round(firm)
    exact = _exact(firm)
    assert found.bound >= exact - 1e-6
    assert found.worth >= 0.95 * exact


def test_more_driving_for_the_same_gain_is_not_chosen() -> None:
    firm = _two_weeks(driving=((0.5,), (3.0,)))
    found = solve_round(firm)
    assert {s.tuner for s in found.stops} == {0}


def test_two_organs_in_one_town_share_the_drive() -> None:
    firm = _two_weeks(driving=((4.0,), (4.0,)), hours=(2.0, 2.0), capacity=8.5)
    found = solve_round(firm)
    assert len(found.stops) == 2
    assert len({(s.week, s.tuner) for s in found.stops}) == 1
    assert found.driving_hours == pytest.approx(4.0)


def test_a_round_stays_as_it_was_unless_moving_pays() -> None:
    firm = invented_firm(11, organs=40, hours_a_week=16.0)
    before = solve_round(firm)
    again = solve_round(firm, before=before.stops)
    assert again.stops == before.stops
    assert again.moved == 0


def test_when_a_tuner_falls_ill_only_what_must_move_moves() -> None:
    firm = invented_firm(12, organs=60, tuners=2, hours_a_week=14.0)
    before = solve_round(firm)
    capacity = firm.capacity_hours.copy()
    capacity[4:10, 0] = 0.0
    ill = _with(firm, capacity_hours=capacity)
    after = solve_round(ill, before=before.stops)
    lost = [s for s in before.stops if 4 <= s.week < 10 and s.tuner == 0]
    assert len(lost) >= 5
    assert broken(ill, after.stops) == []
    assert len(lost) <= after.moved <= 3 * len(lost)
    afresh = solve_round(ill)
    assert after.moved < len(set(before.stops) - set(afresh.stops))
    assert after.benefit >= 0.97 * afresh.benefit


def test_a_visit_after_the_event_brings_nothing() -> None:
    firm = _two_weeks()
    late = _with(firm, benefit=tuple(np.array([[0.5, 0.0]]) for _ in range(2)))
    assert {s.week for s in solve_round(late).stops} == {0}


def test_no_visit_is_made_without_benefit() -> None:
    firm = _with(_two_weeks(), benefit=tuple(np.zeros((1, 2)) for _ in range(2)))
    found = solve_round(firm)
    assert found == Round((), 0.0, 0.0, 0, 0.0, 0.0)
    assert found.gap == 0.0


def test_a_second_visit_counts_only_for_what_it_adds() -> None:
    events = np.array([[0.6, 0.0], [0.5, 0.6]])  # the second event would do nearly as well
    firm = _with(_two_weeks(), benefit=(events, np.zeros((1, 2))), most_visits=np.array([2, 0]))
    found = solve_round(firm, Prices(driving_hour=0.3))
    assert [s.week for s in found.stops] == [0]
    near = solve_round(firm, Prices(driving_hour=0.01))
    assert [s.week for s in near.stops] == [0, 1]
    assert near.benefit == pytest.approx(1.2)


def test_a_weekend_event_can_be_served_in_its_own_week_and_one_on_wednesday_cannot() -> None:
    from walkboard.planning.rounds.benefit import Curve, EventNeed, benefit_of

    curve = Curve((0.0, 10.0), (1.0, 0.5))
    sunday, wednesday = EventNeed(0.93, 0.2), EventNeed(0.36, 0.2, weight=2.0)
    found = benefit_of([sunday, wednesday], curve, 2)
    assert found[0] == pytest.approx([1.0 - 0.05 * 0.43 - 0.2, 0.0])
    assert found[1] == pytest.approx([0.0, 0.0])
    (next_week,) = benefit_of([EventNeed(1.36, 0.2, weight=2.0)], curve, 2)
    assert next_week[0] == pytest.approx(2.0 * (1.0 - 0.05 * 0.86 - 0.2))


@pytest.mark.parametrize("most_visits", [1, 2])
def test_the_exact_solver_never_makes_it_worse_and_keeps_the_rules(most_visits: int) -> None:
    firm = invented_firm(
        4, organs=14, weeks=6, tuners=2, hours_a_week=14.0, most_visits=most_visits
    )
    quick = solve_round(firm)
    polished = solve_round(firm, polish_s=60.0)  # ends when it is proved
    assert broken(firm, polished.stops) == []
    assert quick.worth <= polished.worth <= quick.bound + 1e-9
    if most_visits == 1:
        assert polished.worth >= 0.999 * _exact(firm)


def test_the_exact_solver_leaves_a_round_as_it_was_unless_moving_pays() -> None:
    firm = invented_firm(5, organs=12, weeks=6, tuners=2, hours_a_week=14.0)
    before = solve_round(firm)
    assert solve_round(firm, before=before.stops, polish_s=60.0).moved <= 1


def test_without_the_extra_the_exact_solver_says_how_to_get_it(monkeypatch) -> None:
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    with pytest.raises(InputError, match=r"walkboard\[round\]"):
        solve_round(invented_firm(1, organs=3, weeks=3, tuners=1), polish_s=1.0)


def test_the_bound_counts_every_rule() -> None:
    firm = invented_firm(5, organs=20, hours_a_week=10.0)
    full = bound_of(firm, PRICES)
    fewer = bound_of(_with(firm, capacity_hours=firm.capacity_hours / 2.0), PRICES)
    none = bound_of(_with(firm, allowed=np.zeros_like(firm.allowed)), PRICES)
    held = bound_of(_with(firm, key_holder_hours=np.zeros_like(firm.key_holder_hours)), PRICES)
    assert none == 0.0
    assert none < fewer < full
    assert held < full
    assert bound_of(firm, Prices(driving_hour=0.1)) < full


def _two_weeks(
    *,
    driving: tuple[tuple[float, ...], ...] = ((1.0,), (1.0,)),
    hours: tuple[float, ...] = (2.0, 2.0),
    capacity: float = 40.0,
) -> Firm:
    return Firm(
        benefit=tuple(np.array([[0.5, 0.5]]) for _ in range(2)),
        hours=np.array(hours),
        most_visits=np.array([1, 1]),
        allowed=np.ones((2, 2, 2), dtype=bool),
        capacity_hours=np.full((2, 2), capacity),
        town=np.array([0, 0]),
        driving_hours=np.array(driving),
        key_holder=np.array([-1, -1]),
        key_holder_hours=np.zeros((0, 2)),
    )


def _with(firm: Firm, **changes: object) -> Firm:
    from dataclasses import replace

    return replace(firm, **changes)  # type: ignore[arg-type]


def _exact(firm: Firm) -> float:
    stops = [Stop(*(int(n) for n in at)) for at in np.argwhere(firm.allowed)]
    trips = sorted({(int(firm.town[s.organ]), s.week, s.tuner) for s in stops})
    n, m = len(stops), len(trips)
    gain = [float(firm.benefit[s.organ][:, s.week].sum()) for s in stops]
    drive = [float(firm.driving_hours[t, p]) for p, _, t in trips]
    rows, limits = [], []

    def row(parts: dict[int, float], at_most: float) -> None:
        rows.append(sparse.csr_array(([*parts.values()], ([0] * len(parts), [*parts])), (1, n + m)))
        limits.append(at_most)

    for organ in range(firm.shape[0]):
        row({i: 1.0 for i, s in enumerate(stops) if s.organ == organ}, firm.most_visits[organ])
    for week, tuner in np.ndindex(*firm.capacity_hours.shape):
        own = {
            i: firm.hours[s.organ]
            for i, s in enumerate(stops)
            if (s.week, s.tuner) == (week, tuner)
        }
        own |= {n + j: drive[j] for j, trip in enumerate(trips) if trip[1:] == (week, tuner)}
        row(own, float(firm.capacity_hours[week, tuner]))
    for holder, week in np.ndindex(*firm.key_holder_hours.shape):
        own = {
            i: firm.hours[s.organ]
            for i, s in enumerate(stops)
            if s.week == week and firm.key_holder[s.organ] == holder
        }
        if own:
            row(own, float(firm.key_holder_hours[holder, week]))
    index = {trip: n + j for j, trip in enumerate(trips)}
    for i, s in enumerate(stops):
        row({i: 1.0, index[int(firm.town[s.organ]), s.week, s.tuner]: -1.0}, 0.0)
    found = milp(
        -np.array([*gain, *(-PRICES.driving_hour * d for d in drive)]),
        constraints=LinearConstraint(sparse.vstack(rows).tocsc(), ub=np.array(limits)),
        integrality=np.ones(n + m, dtype=int),
        bounds=Bounds(0.0, 1.0),
        options={"mip_rel_gap": 1e-3},
    )
    assert found.fun is not None
    return -float(found.fun)
