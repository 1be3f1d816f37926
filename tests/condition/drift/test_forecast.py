"""The drift model: against general linear algebra, against years of another make."""

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

import numpy as np
import pytest
from bench._organs import invented_organ
from bench.drift import history_of
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.stats import norm

from walkboard.condition.drift.fit import AS_USUAL, learn, spread_of
from walkboard.condition.drift.forecast import at_visit, follow, forecast
from walkboard.condition.drift.history import PastVisit
from walkboard.condition.drift.kinds import (
    USUAL_HABITS,
    DriftKind,
    Recalibration,
    drift_kind,
)
from walkboard.condition.drift.rank import RankDrift, shared_terms
from walkboard.condition.mixtures import NormalParts
from walkboard.condition.state import PipeCents
from walkboard.demo.years.course import simulate_years
from walkboard.demo.years.weather import quarterly
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef

AIR = {"great": 18.0, "swell": 18.0}
DAY = date(2031, 3, 20)


@pytest.fixture(scope="module")
def organ():
    return invented_organ(500, 2)


@pytest.fixture(scope="module")
def years(organ):
    rng = np.random.default_rng(9)
    return simulate_years(organ, rng, quarterly(organ, rng, 16))


def readings(
    pipes: Sequence[PipeRef], cents: Iterable[float], sigma: float = 0.1
) -> tuple[PipeCents, ...]:
    return tuple(PipeCents(p, c, sigma, None, 18.0) for p, c in zip(pipes, cents, strict=True))


@settings(deadline=None, max_examples=40)
@given(st.floats(0.02, 0.98), st.floats(-5, 5), st.floats(0.5, 9))
def test_quantiles_of_one_part_are_those_of_a_normal(share, mean, sigma):
    """Reference: scipy.stats.norm."""
    parts = NormalParts(np.ones((1, 1)), np.full((1, 1), mean), np.full((1, 1), sigma))
    assert_allclose(parts.quantile(share), norm.ppf(share, mean, sigma), atol=1e-6)
    assert_allclose(parts.log_density(np.array([1.0])), norm.logpdf(1.0, mean, sigma), rtol=1e-9)


def test_a_rank_heard_is_conditioned_as_any_joint_normal_is():
    """Reference: conditioning written out with numpy.linalg for the same state and readings."""
    habits = USUAL_HABITS[DriftKind.SLIDE]
    rank = RankDrift(7, habits, is_flue=True)
    rank.pass_time(1.3)
    rank.hazard[:] = 0.0  # without slips the model is linear
    terms = shared_terms(4.0, 31.2)
    heard, error = np.array([0, 2, 3, 5, 6]), np.full(5, 0.2)
    cents = np.array([1.0, -0.5, 0.4, 2.0, 0.1])
    common = (0.3, 0.5)
    prior_mean, prior = rank.mean.copy(), rank.covariance.copy()
    prior_mean[-1], prior[-1, :], prior[:, -1], prior[-1, -1] = common[0], 0.0, 0.0, common[1]
    design = np.zeros((5, 12))
    design[np.arange(5), heard] = 1.0
    design[:, 7:] = terms
    spread = design @ prior @ design.T + np.diag(error**2)
    gain = prior @ design.T @ np.linalg.inv(spread)
    mean = prior_mean + gain @ (cents - design @ prior_mean)
    covariance = prior - gain @ design @ prior
    rank.hear(rank.meet(heard, cents, error, terms, (0.0, 1.0)), terms, common)
    assert_allclose(rank.mean, mean, atol=1e-9)
    assert_allclose(rank.covariance, covariance, atol=1e-9)


def test_a_pipe_far_off_its_rank_counts_as_slipped_and_does_not_move_the_rank():
    rank = RankDrift(20, USUAL_HABITS[DriftKind.SLIDE], is_flue=True)
    terms = shared_terms(0.0, 31.0)
    cents = np.zeros(20)
    cents[4] = 25.0
    heard = np.arange(20)
    rank.hear(rank.meet(heard, cents, np.full(20, 0.1), terms, (0.0, 1.0)), terms, (0.0, 0.5))
    seen = rank.foresee_readings(terms)
    assert_allclose(seen.cents[4], 25.0, atol=0.5)
    assert abs(np.delete(seen.cents, 4)).max() < 0.2
    assert rank.proneness[4] > 2.0 * rank.proneness[5]


def test_what_was_heard_is_known_and_grows_less_sure_with_time(organ):
    pipes = [p for p in organ.pipes() if p.rank == organ.ranks[0].id]
    drift = follow(organ, [PastVisit(DAY, AIR, readings(pipes, np.linspace(-2, 2, len(pipes))))])
    spreads = [
        forecast(drift, DAY + timedelta(days=d), AIR).parts.chosen(np.arange(len(pipes))).sigma
        for d in (10, 100, 400)
    ]
    assert (spreads[0] < spreads[1]).all()
    assert (spreads[1] < spreads[2]).all()


def test_a_tuned_pipe_is_expected_where_it_was_left(organ):
    rank = next(r for r in organ.ranks if r.family.is_flue and r.pipes > 40)
    pipes = [PipeRef(rank.id, n) for n in range(1, rank.pipes + 1)]
    cents = np.zeros(rank.pipes)
    cents[10] = 18.0
    visit = PastVisit(DAY, AIR, readings(pipes, cents), {pipes[10]: 0.0})
    there = forecast(follow(organ, [visit]), DAY, AIR)
    at = there.index[pipes[10]]
    assert abs(there.parts.mean[at]) < 0.6
    assert there.parts.within(-2.0, 2.0)[at] > 0.9


def test_reeds_stay_and_flues_follow_when_it_gets_warmer(organ):
    """A reed reads 3 cents flat against its target for each degree that it gets warmer."""
    drift = follow(organ, [])
    cold = forecast(drift, DAY, dict.fromkeys(("great", "swell"), 18.0))
    warm = forecast(drift, DAY, dict.fromkeys(("great", "swell"), 22.0))
    reed = np.array([organ.rank(p.rank).family.value == "reed" for p in cold.pipes])
    moved = warm.parts.mean - cold.parts.mean
    # ideal gas: 600 log2(295.15/291.15) = 11.8 cents for four degrees
    assert_allclose(moved[~reed], 0.0, atol=1e-9)
    if reed.any():
        assert_allclose(moved[reed], -11.8 * 0.97, rtol=0.03)


def test_without_history_the_forecast_is_what_is_thought_of_the_kind(organ):
    there = forecast(follow(organ, []), DAY, AIR)
    sigma = there.parts.sigma
    kinds = np.array([drift_kind(organ.rank(p.rank)).value for p in there.pipes])
    assert np.isfinite(sigma).all()
    assert np.median(sigma[kinds == "cone"]) < np.median(sigma[kinds == "slide"])


def test_readings_of_any_order_of_ranks_and_visits_must_be_in_order(organ):
    late = PastVisit(DAY + timedelta(days=9), AIR, ())
    with pytest.raises(InputError, match="order of their dates"):
        follow(organ, [late, PastVisit(DAY, AIR, ())])
    stranger = PipeCents(PipeRef("nowhere", 1), 0.0, 0.1, None, 18.0)
    with pytest.raises(InputError, match="does not have"):
        follow(organ, [PastVisit(DAY, AIR, (stranger,))])


def test_a_short_history_changes_nothing_and_a_long_one_is_learned_from(organ, years):
    past = history_of(years)[:8]
    assert learn(organ, past[:1]) is AS_USUAL
    learned = learn(organ, past)
    assert sum(learned.readings.values()) == sum(len(v.heard) for v in past)
    assert learned.habits != USUAL_HABITS


def test_intervals_hold_over_years_from_another_model(organ, years):
    """Coverage of forecasts, each before its visit; wide limits, for 16 visits are few."""
    past = history_of(years)
    drift, inside, scored = follow(organ, past[:6]), [], []
    for number in range(6, len(past)):
        drift = follow(organ, past[:number])
        visit = past[number]
        there = forecast(drift, visit.at, visit.air_celsius).of_readings()
        index = {p: n for n, p in enumerate(organ.pipes())}
        own = np.array([index[p.pipe] for p in visit.heard])
        cents = np.array([p.cents for p in visit.heard])
        below = there.chosen(own).below(cents)
        inside.append(np.abs(below - 0.5) < 0.45)
        scored.append(there.chosen(own).log_density(cents))
    assert 0.82 < np.concatenate(inside).mean() < 0.98
    flat = norm.logpdf(0.0, 0.0, 6.0) - 0.5  # what a man who says "within 6 cents" would score
    assert np.concatenate(scored).mean() > flat


def test_pipes_heard_today_inform_those_not_heard(organ, years):
    past = history_of(years)
    before, visit = follow(organ, past[:-1]), past[-1]
    counts = Counter(p.pipe.rank for p in visit.heard if organ.rank(p.pipe.rank).family.is_flue)
    rank = counts.most_common(1)[0][0]
    own = [p for p in visit.heard if p.pipe.rank == rank]
    half = PastVisit(visit.at, visit.air_celsius, tuple(own[::2]))
    _, there = at_visit(before, half)
    _, blind = at_visit(before, PastVisit(visit.at, visit.air_celsius, ()))
    rest = np.array([there.index[p.pipe] for p in own[1::2]])
    cents = np.array([p.cents for p in own[1::2]])
    reported = there.parts.chosen(rest).log_density(cents).mean()
    assert (
        reported
        > blind.parts.chosen(rest).widened(blind.reading_cents[rest]).log_density(cents).mean()
    )


def test_the_spread_of_a_forecast_holds_its_parts():
    parts = spread_of(np.array([1.0]), np.array([0.1]), 10.0, Recalibration(1.0, 2.0, 0.2, 1.0))
    assert_allclose(parts.weights, [[0.72, 0.18, 0.1]])
    assert_allclose(parts.sigmas, [[1.0, 2.0, np.hypot(1.0, 10.0)]])


@pytest.mark.parametrize("share", [0.05, 0.12, 0.5, 0.95])
def test_quantiles_of_a_mixture_leave_that_share_below(share):
    """One pipe in five has slipped by 12 cents; the distribution by scipy.stats."""
    parts = NormalParts(np.array([[0.8, 0.2]]), np.array([[0.0, -12.0]]), np.array([[1.0, 6.0]]))
    at = parts.quantile(share)
    below = 0.8 * norm.cdf(at, 0.0, 1.0) + 0.2 * norm.cdf(at, -12.0, 6.0)
    assert_allclose(below, share, atol=1e-6)
