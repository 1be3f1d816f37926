"""What all flues of an organ have in common, against plain linear algebra."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import multivariate_normal

from walkboard.condition.drift.common import CommonDrift
from walkboard.condition.drift.rank import Summary

DIVISION_OF = {0: 0, 1: 0, 2: 1}


def prior(years: float, *, known: tuple[bool, bool] = (True, True)) -> np.ndarray:
    """Covariance of two divisions' common parts at a visit [cents²], common practice, no source.

    Lasting in a year: 0.8 of the organ, 0.5 of a division; at the visit: 0.5 of all thermometers
    and 0.5 of each, or 15 where nobody noted the air.
    """
    own = [0.5**2 * years + (0.5**2 if one else 15.0**2) for one in known]
    return np.full((2, 2), 0.8**2 * years + 0.5**2) + np.diag(own)


def said(cents: float, sigma: float) -> Summary:
    return Summary(1.0 / sigma**2, cents / sigma**2)


def begun(years: float, known: tuple[bool, bool] = (True, True)) -> CommonDrift:
    common = CommonDrift(2)
    common.pass_time(years)
    common.begin_visit(known)
    return common


@pytest.mark.parametrize("years", [0.0, 2.0])
@pytest.mark.parametrize("known", [(True, True), (True, False)])
def test_the_prior_is_the_sum_of_what_moves(years, known) -> None:
    common, expected = begun(years, known), prior(years, known=known)
    for division in (0, 1):
        mean, variance = common.mean_and_variance(division)
        assert mean == 0.0
        assert_allclose(variance, expected[division, division], rtol=1e-4)


def conditioned(
    covariance: np.ndarray, heard: dict[int, tuple[float, float]], of: int
) -> tuple[float, float]:
    """Mean and variance of a division's part given what some ranks say, by numpy.linalg."""
    rows = [DIVISION_OF[rank] for rank in heard]
    cents = np.array([c for c, _ in heard.values()])
    spread = covariance[np.ix_(rows, rows)] + np.diag([s**2 for _, s in heard.values()])
    gain = covariance[of, rows] @ np.linalg.inv(spread)
    return float(gain @ cents), float(covariance[of, of] - gain @ covariance[rows, of])


def test_each_rank_gets_the_common_part_from_all_others() -> None:
    heard = {0: (2.0, 0.3), 1: (1.0, 0.6), 2: (-0.5, 0.2)}
    common, covariance = begun(2.0), prior(2.0)
    others = common.hear({rank: said(*what) for rank, what in heard.items()}, DIVISION_OF)
    for rank in heard:
        rest = {r: what for r, what in heard.items() if r != rank}
        assert_allclose(others[rank], conditioned(covariance, rest, DIVISION_OF[rank]), rtol=1e-3)
    for division in (0, 1):
        expected = conditioned(covariance, heard, division)
        assert_allclose(common.mean_and_variance(division), expected, rtol=1e-3)


def test_a_rank_that_was_not_heard_follows_the_others() -> None:
    others = begun(1.0).hear({0: said(2.0, 0.3)}, DIVISION_OF)
    covariance = prior(1.0)
    assert_allclose(others[2], conditioned(covariance, {0: (2.0, 0.3)}, 1), rtol=1e-3)
    assert_allclose(others[0], (0.0, covariance[0, 0]), rtol=1e-3, atol=1e-3)


def test_surprise_is_minus_the_log_likelihood() -> None:
    """But for the constant; SciPy's multivariate normal."""
    heard = {0: (2.0, 0.3), 1: (1.0, 0.6), 2: (-0.5, 0.2)}
    summaries = {rank: said(*what) for rank, what in heard.items()}
    rows = [0, 0, 1]
    spread = prior(2.0)[np.ix_(rows, rows)] + np.diag([0.3**2, 0.6**2, 0.2**2])
    log = multivariate_normal(np.zeros(3), spread).logpdf([2.0, 1.0, -0.5])
    expected = -log - 1.5 * np.log(2.0 * np.pi)
    assert_allclose(begun(2.0).surprise(summaries, DIVISION_OF), expected, rtol=1e-4)
    silent = summaries | {1: Summary(0.0, 0.0)}
    two = {rank: what for rank, what in summaries.items() if rank != 1}
    alone = begun(2.0).surprise(two, DIVISION_OF)
    assert_allclose(begun(2.0).surprise(silent, DIVISION_OF), alone)
    assert begun(2.0).surprise({}, DIVISION_OF) == 0.0


def test_the_moment_is_forgotten_and_what_lasts_is_kept() -> None:
    """Both divisions 3 cents up: some of it lasts; the next visit begins with only that."""
    common = begun(4.0)
    common.hear({0: said(3.0, 0.1), 2: said(3.0, 0.1)}, DIVISION_OF)
    kept = common.copy()
    common.begin_visit((True, True))
    mean, _ = common.mean_and_variance(0)
    assert 2.0 < mean < 3.0
    assert kept.mean_and_variance(0)[0] == pytest.approx(3.0, abs=0.05)
    assert_allclose(common.mean[3:], 0.0)
    common.pass_time(-1.0)  # a visit of the same day
    assert common.mean_and_variance(0)[0] == mean
