"""What to listen to: the worth of hearing, the keys, the quick look, readiness."""

from datetime import date, timedelta
from itertools import combinations

import numpy as np
import pytest
from bench._organs import invented_organ
from bench.drift import history_of
from numpy.testing import assert_allclose

from walkboard.condition.drift.fit import AS_USUAL
from walkboard.condition.drift.forecast import at_visit, follow, forecast
from walkboard.condition.drift.history import PastVisit, figures
from walkboard.demo.years.course import simulate_years
from walkboard.demo.years.weather import quarterly
from walkboard.organ.model import PipeRef
from walkboard.planning.listen.foreseen import foreseen, weights_of
from walkboard.planning.listen.keys import choose_listening, offers_of
from walkboard.planning.listen.quick_look import quick_look
from walkboard.planning.listen.readiness import (
    Occasion,
    Readiness,
    _count,
    readiness_of,
    stop_readiness,
)
from walkboard.planning.listen.worth import Hearings
from walkboard.planning.request import PlanRequest
from walkboard.planning.value.cost import LIMITS, badness, chance_stray
from walkboard.planning.value.pipe_offsets import least_badness
from walkboard.planning.value.use import EventUse
from walkboard.planning.value.weight import WeightChange
from walkboard.planning.what_if import prepare
from walkboard.survey.plan.make_survey import plan_survey
from walkboard.survey.plan.walk_plan import Pace


@pytest.fixture(scope="module")
def organ():
    return invented_organ(400, 5)


@pytest.fixture(scope="module")
def past(organ):
    rng = np.random.default_rng(5)
    return history_of(simulate_years(organ, rng, quarterly(organ, rng, 6)))


@pytest.fixture(scope="module")
def before(organ, past):
    return follow(organ, past[:-1])


@pytest.fixture(scope="module")
def situation(organ, past, before):
    _, there = at_visit(before, PastVisit(past[-1].at, past[-1].air_celsius, ()))
    known = foreseen(organ, there)
    prepared = prepare(organ, known.condition, (), forecasts=known.forecasts)
    return prepared.problem(PlanRequest(minutes=60.0)).situation


@pytest.fixture(scope="module")
def offers(organ):
    return offers_of(organ, plan_survey(organ).walks)


def test_the_worth_of_hearing_agrees_with_drawing_lots(situation):
    """Reference: the decision taken on 40 000 draws of where the pipe is, by definition."""
    price, rng = 0.1, np.random.default_rng(1)
    at = Hearings(situation).at_price(price)
    parts = situation.parts
    for n in np.flatnonzero(at.opened > 0.05)[:60:6]:
        of = slice(parts.starts[n], parts.starts[n + 1] if n + 1 < len(parts.starts) else None)
        which = rng.choice(len(parts.share[of]), 40_000, p=parts.share[of])
        cents = parts.cents[of][which] + parts.sigma_cents[of][which] * rng.standard_normal(40_000)
        near = cents + LIMITS.neighbours_cents * rng.standard_normal(40_000)
        now = situation.weight[n] * badness(near, situation.beat_hz[n])
        now += situation.stray[n] * chance_stray(cents, 0.0)
        tuned = situation.cost_left[n] + price * situation.minutes[n]
        reported = min(now.mean(), tuned) - np.minimum(now, tuned).mean()
        assert_allclose(at.worth[n] / at.opened[n], reported, atol=0.004)


def test_nothing_is_to_be_learned_of_a_pipe_that_is_known(organ, past, before):
    visit = past[-1]
    _, there = at_visit(before, visit)
    known = foreseen(organ, there, visit.heard)
    prepared = prepare(organ, known.condition, visit.heard, forecasts=known.forecasts)
    found = prepared.problem(PlanRequest(minutes=60.0)).situation
    at = Hearings(found).at_price(0.1)
    heard = np.array([not hasattr(k, "belief") for k in found.known])
    assert at.worth[heard].mean() < 0.1 * at.worth[~heard].mean()


def test_a_dearer_minute_leaves_fewer_pipes_to_tune(situation):
    hearings = Hearings(situation)
    prices = [hearings.price(minutes) for minutes in (20.0, 60.0, 200.0)]
    assert prices[0] > prices[1] > prices[2]


def test_keys_are_chosen_within_the_minutes_and_more_minutes_hear_more(situation, offers):
    pace, last = Pace(), 0
    for minutes in (4.0, 8.0, 16.0):
        chosen = choose_listening(situation, offers, 90.0, listening_minutes=minutes, pace=pace)
        assert chosen.minutes <= minutes + pace.setting_minutes
        assert chosen.worth > 0.0
        assert len(chosen.pipes) > last
        last = len(chosen.pipes)


def test_the_minutes_of_listening_are_chosen_too(situation, offers):
    chosen = choose_listening(situation, offers, 120.0)
    assert 0.0 < chosen.minutes < 60.0
    assert chosen.worth > chosen.price * chosen.minutes


def test_no_pipe_is_offered_twice(offers):
    pipes = [p for offer in offers for at_key in offer.pipes for p in at_key]
    assert len(pipes) == len(set(pipes))


def test_a_quick_look_hears_many_ranks(organ, past, before, offers):
    (when,) = figures(organ, [PastVisit(past[-1].at, past[-1].air_celsius, ())])
    ahead = before.copy()
    ahead.pass_to(when.year)
    weight = dict.fromkeys(organ.pipes(), 1.0)
    walks = quick_look(ahead, when, offers, weight, keys=12)
    assert sum(len(walk.keys) for walk in walks) == 12
    ranks = {pipe.rank for walk in walks for pipe in walk.reads}
    assert len(ranks) >= 0.5 * len(organ.ranks)
    # what it hears tells more of the whole than the same number of keys of one registration
    one = max(offers, key=lambda o: len(o.walk.drawn))
    truth = {p.pipe: p for p in past[-1].heard}

    def left(pipes: list[PipeRef]) -> float:
        seen = tuple(truth[p] for p in pipes if p in truth)
        _, there = at_visit(before, PastVisit(past[-1].at, past[-1].air_celsius, seen))
        return float(np.square(there.parts.sigma).sum())

    quick = [p for walk in walks for p in walk.reads if p in truth]
    alone = [p for at_key in one.pipes for p in at_key if p in truth][: len(quick)]
    if len(quick) >= 5:
        assert left(quick) < left(alone)


def test_the_count_outside_agrees_with_trying_all_sets():
    """Reference: the sum over every set of pipes, by definition."""
    chances = np.array([0.1, 0.5, 0.03, 0.8])
    wanted = np.zeros(5)
    for count in range(5):
        for out in combinations(range(4), count):
            wanted[count] += np.prod(
                [chances[i] if i in out else 1.0 - chances[i] for i in range(4)]
            )
    assert_allclose(_count(chances[None])[0], wanted, atol=1e-12)


def test_readiness_falls_with_time_and_rises_with_a_visit(organ, past, before):
    today = past[-2].at
    air = past[-2].air_celsius
    stops = tuple(stop.id for stop in organ.stops[:2])

    def outcome(days: int, minutes: float = 300.0) -> Readiness:
        occasion = Occasion(today + timedelta(days=days), "recital", stops, air, EventUse())
        return readiness_of(before, AS_USUAL, occasion, today, minutes, tolerance_cents=6.0)

    soon, late = outcome(5), outcome(700)
    assert late.as_it_is.badness > soon.as_it_is.badness
    assert late.visited.badness < late.as_it_is.badness
    assert late.visit_by == late.occasion.at - timedelta(days=1)
    for one in (soon, late):
        for stop in (*one.as_it_is.stops, *one.visited.stops):
            assert 0.0 <= stop.chance <= 1.0


def test_the_least_badness_is_that_of_the_whole_grid(situation):
    """Reference: every reference of the plan's own grid."""
    whole = situation.cost.sum(axis=1).min()
    assert_allclose(least_badness(situation), whole, rtol=1e-9)


def test_the_quick_look_goes_where_the_weights_are(organ, past, before, offers):
    """A division that the tuner left out is not asked after; before, all pipes counted alike."""
    (when,) = figures(organ, [PastVisit(past[-1].at, past[-1].air_celsius, ())])
    ahead = before.copy()
    ahead.pass_to(when.year)
    there = forecast(before, past[-1].at, past[-1].air_celsius)
    quiet = organ.divisions[0].id
    own = [rank.id for rank in organ.ranks if rank.division == quiet]
    nothing = [WeightChange(name, 0.0) for name in own]

    def heard_in_it(changes: list[WeightChange]) -> int:
        weight = weights_of(organ, there, changes)
        walks = quick_look(ahead, when, offers, weight, keys=12)
        return sum(p.rank in own for walk in walks for p in walk.reads)

    assert heard_in_it([]) > 0
    assert heard_in_it(nothing) == 0


def test_a_stop_of_steady_pipes_is_surer_than_one_that_wanders(organ):
    there = forecast(follow(organ, []), date(2031, 3, 20), {})
    chances = {
        s.stop: s.within for s in stop_readiness(organ, there, [x.id for x in organ.stops], 4.0)
    }
    kinds = {x.id: organ.rank(x.plays[0].rank).family.is_flue for x in organ.stops}
    flues = [c for s, c in chances.items() if kinds[s]]
    reeds = [c for s, c in chances.items() if not kinds[s]]
    assert min(flues) > 0.5
    if reeds:
        assert np.mean(flues) > np.mean(reeds)
