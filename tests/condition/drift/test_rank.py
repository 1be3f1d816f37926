"""One rank: how its pipes grow unsure, slip, and are separated. Arithmetic of variances."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.testing import assert_allclose

from walkboard.condition.drift.kinds import USUAL_HABITS, DriftKind
from walkboard.condition.drift.rank import RankDrift, shared_terms

# Common practice, no source: a slide's pipe wanders by a cent in a year and its rank by 0.8; they
# begin 1.5 and 1 cent off; one slide in 25 slips in a year, by some 11 cents.
SLIDE = USUAL_HABITS[DriftKind.SLIDE]
STILL = shared_terms(0.0, 0.0)


def a_rank(pipes: int = 12, years: float = 0.0, *, is_flue: bool = True) -> RankDrift:
    kind = DriftKind.SLIDE if is_flue else DriftKind.REED
    rank = RankDrift(pipes, USUAL_HABITS[kind], is_flue=is_flue)
    rank.pass_time(years)
    return rank


def hear(rank: RankDrift, cents: list[float], terms: np.ndarray = STILL) -> None:
    """All of its pipes, to 0.05 cent, with a good thermometer."""
    heard = np.arange(rank.pipes)
    error = np.full(rank.pipes, 0.05)
    met = rank.meet(heard, np.array(cents), error, terms, (0.0, 1e-4))
    rank.hear(met, terms, (0.0, 1e-4))


@pytest.mark.parametrize("years", [0.0, 0.5, 3.0])
@pytest.mark.parametrize("air_cents", [0.0, 12.0])
def test_variances_add_up(years: float, air_cents: float) -> None:
    """Its own and the rank's, each growing with time; 4 % of the air's cents; half a cent a season.

    Cosine and sine of the season have squares that add to 1.
    """
    seen = a_rank(12, years).foresee(shared_terms(air_cents, 0.125))
    own = 1.5**2 + 1.0**2 * years
    shared = 1.0**2 + 0.8**2 * years + (0.04 * air_cents) ** 2 + 0.5**2
    assert_allclose(seen.cents, 0.0, atol=1e-12)
    assert_allclose(seen.sigma_cents**2, own + shared, rtol=1e-9)
    assert_allclose(seen.shared_cents**2, shared, rtol=1e-9)


@pytest.mark.parametrize("years", [0.0, 1.0, 7.0])
def test_slips_come_as_by_a_constant_rate(years: float) -> None:
    """A pipe never heard counts as two years alone: 1 - e^(-0.04 (2 + years)); once heard, none."""
    rank = a_rank(12, years)
    assert_allclose(rank.foresee(STILL).slipped, -math.expm1(-0.04 * (2.0 + years)), rtol=1e-9)
    hear(rank, [0.0] * 12)
    assert_allclose(rank.foresee(STILL).slipped, 0.0, atol=1e-12)
    rank.pass_time(1.0)
    # a pipe that has not slipped in some years is less prone to it; eight tenths of a slip hold it
    prone = 0.8 / (0.8 + 0.04 * years)
    slipped = rank.foresee(STILL).slipped
    assert np.all(slipped > -math.expm1(-0.04 * prone))
    assert np.all(slipped < -math.expm1(-0.04 * (0.4 + 0.6 * prone)) * 1.02)


def test_no_time_and_time_that_runs_backwards_change_nothing() -> None:
    for years in (0.0, -2.0):
        assert_allclose(a_rank(5, years).covariance, a_rank(5).covariance)


def test_a_reed_stays_while_the_flues_follow_the_air() -> None:
    """It keeps back 97 % of what the air does to flues, known to 8 %."""
    seen = a_rank(6, is_flue=False).foresee(shared_terms(10.0, 0.0))
    assert_allclose(seen.cents, -9.7)
    assert a_rank(6, is_flue=False).follows() == pytest.approx((-0.97, 0.08))
    assert a_rank(6).follows() == pytest.approx((0.0, 0.04))
    assert a_rank(6).movement() == pytest.approx((0.0, 1.0))


def test_what_is_heard_is_known_to_the_reading() -> None:
    rank = a_rank(12, 2.0)
    cents = [0.5, -0.5, 1.0, -1.0, 0.2, 0.0, 0.3, -0.7, 0.9, -0.2, 0.4, 0.1]
    hear(rank, cents)
    seen = rank.foresee_readings(STILL)
    assert_allclose(seen.cents, cents, atol=0.03)
    assert np.all(seen.sigma_cents < 0.06)
    assert np.all(seen.sigma_cents > 0.03)


def test_a_rank_that_rose_as_a_whole_is_known_to_have_moved() -> None:
    rank = a_rank(30, 1.0)
    hear(rank, [3.0] * 30)
    moved, sigma = rank.movement()
    assert 1.5 < moved < 3.0
    assert sigma < math.sqrt(1.0 + 0.8**2)


def test_a_rank_that_rose_as_a_whole_has_no_restless_pipes() -> None:
    """Three cents in a year, all alike: the rank's movement, nobody's own."""
    rank = a_rank(30)
    hear(rank, [0.0] * 30)
    rank.pass_time(1.0)
    hear(rank, [3.0] * 30)
    assert np.all(rank.unevenness < 1.0)
    assert np.all(rank.proneness < 1.0)


def test_a_restless_pipe_is_foreseen_less_surely_than_its_quiet_neighbours() -> None:
    rank = a_rank(12)
    hear(rank, [0.0] * 12)
    for visit in range(6):
        rank.pass_time(1.0)
        hear(rank, [2.5 * (-1.0) ** visit, *[0.0] * 11])
    assert rank.unevenness[0] > 1.5
    assert np.all(rank.unevenness[1:] < 0.8)
    rank.pass_time(1.0)
    sigma = rank.foresee(STILL).sigma_cents
    assert sigma[0] > 1.3 * sigma[1:].max()


def test_a_pipe_that_slips_again_and_again_is_prone_to_it() -> None:
    rank = a_rank(12)
    hear(rank, [0.0] * 12)
    for visit in range(3):
        rank.pass_time(1.0)
        hear(rank, [-25.0 * (visit + 1), *[0.0] * 11])
    # three slips where about 0.2 were due, held by eight tenths of a slip
    assert rank.proneness[0] == pytest.approx((0.8 + 3.0) / (0.8 + 0.2), rel=0.15)
    assert np.all(rank.proneness[1:] < 1.0)


def test_a_tuned_pipe_is_where_it_was_left_and_begins_anew() -> None:
    rank = a_rank(12, 2.0)
    hear(rank, [0.0] * 11 + [14.0])
    rank.leave(np.array([11]), np.array([0.3]), np.array([0.5]), STILL)
    seen = rank.foresee_readings(STILL)
    assert seen.cents[11] == pytest.approx(0.3, abs=0.05)
    assert seen.sigma_cents[11] == pytest.approx(0.5, abs=0.05)
    assert seen.slipped[11] == 0.0
    rank.pass_time(1.0)
    again = rank.foresee(STILL)
    assert again.sigma_cents[11] > seen.sigma_cents[11]


def test_a_wrong_thermometer_is_forgotten_at_the_next_visit() -> None:
    """All flues 8 cents sharp: by another's word, the air. Next time nothing is left of it."""
    rank = a_rank(30)
    hear(rank, [0.0] * 30)
    heard, error = np.arange(30), np.full(30, 0.05)
    met = rank.meet(heard, np.full(30, 8.0), error, STILL, (0.0, 200.0))
    rank.hear(met, STILL, (8.0, 0.01))
    assert_allclose(rank.foresee(STILL).cents, 0.0, atol=0.2)
    assert_allclose(rank.foresee_readings(STILL).cents, 8.0, atol=0.1)
    rank.unheard((0.0, 0.25))
    assert_allclose(rank.foresee_readings(STILL).cents, rank.foresee(STILL).cents)
    assert_allclose(rank.mean[-1], 0.0)
    assert_allclose(rank.covariance[-1, -1], 0.25)
    assert_allclose(rank.covariance[-1, :-1], 0.0)


def test_a_copy_goes_its_own_way() -> None:
    rank = a_rank(5)
    other = rank.copy()
    other.pass_time(3.0)
    assert_allclose(rank.covariance, a_rank(5).covariance)
    assert not np.allclose(other.covariance, rank.covariance)


def test_a_rank_of_one_pipe_is_a_rank() -> None:
    seen = a_rank(1, 1.0).foresee(STILL)
    assert_allclose(seen.shared_cents**2, 1.0 + 0.64 + 0.25)


def test_the_season_turns_once_a_year_from_the_new_year() -> None:
    assert_allclose(shared_terms(3.0, 2031.0), [1.0, 3.0, 1.0, 0.0, 1.0], atol=1e-9)
    assert_allclose(shared_terms(3.0, 2031.25), [1.0, 3.0, 0.0, 1.0, 1.0], atol=1e-9)


def test_a_pipe_heard_twice_in_one_hour_shows_nothing_of_how_it_wanders() -> None:
    rank = a_rank(12, 1.0)
    hear(rank, [0.5] * 12)
    before = rank.unevenness.copy()
    hear(rank, [0.5] * 11 + [0.9])
    assert_allclose(rank.unevenness, before)


def test_a_rank_just_heard_shares_next_to_nothing_that_is_unknown() -> None:
    rank = a_rank(12, 1.0)
    hear(rank, [0.5] * 12)
    assert rank.foresee_readings(STILL).shared_cents < 0.1
