"""What earlier visits found, as figures."""

from __future__ import annotations

from datetime import date

import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import a_rank, small_organ
from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.forecast import follow, forecast
from walkboard.condition.drift.history import PastVisit, figures, year_of
from walkboard.condition.drift.kinds import USUAL_HABITS, DriftKind
from walkboard.condition.state import PipeCents
from walkboard.errors import InputError
from walkboard.organ.model import PipeRef
from walkboard.organ.reading import read_organ

ORGAN = small_organ()
DAY = date(2031, 3, 20)
PIPE = PipeRef("great.principal", 5)


def read(celsius: float, cents: float, sigma: float = 0.1, pipe: PipeRef = PIPE) -> PipeCents:
    return PipeCents(pipe, cents, sigma, None, celsius)


def test_readings_are_restated_against_the_air_that_the_visit_noted() -> None:
    """0 cents against the target at 20 °C are 5.9 above that at 18 °C (Cramer 1993).

    Where no air was noted, against the organ's own 18 °C.
    """
    for noted in ({"great": 18.0}, {}):
        (seen,) = figures(ORGAN, [PastVisit(DAY, noted, (read(20.0, 0.0),))])
        assert_allclose(seen.ranks[0].cents, 2 * 2.957, atol=0.02)
    (seen,) = figures(ORGAN, [PastVisit(DAY, {"great": 20.0}, (read(20.0, 1.5),))])
    assert_allclose(seen.ranks[0].cents, 1.5, atol=1e-9)
    assert seen.air_cents["great"] == pytest.approx(2 * 2.957, abs=0.02)
    assert seen.air_cents["swell"] is None


def test_of_two_readings_of_a_pipe_the_surer_counts() -> None:
    both = (read(18.0, 9.0, 1.0), read(18.0, 1.0, 0.05))
    for order in (both, both[::-1]):
        (seen,) = figures(ORGAN, [PastVisit(DAY, {}, order)])
        assert seen.ranks[0].heard.tolist() == [4]
        assert seen.ranks[0].cents.tolist() == [1.0]
        assert seen.ranks[0].error_cents.tolist() == [0.05]


def test_pipes_tuned_without_having_been_heard_are_in_it() -> None:
    (seen,) = figures(ORGAN, [PastVisit(DAY, {}, (), {PIPE: 0.25})])
    own = seen.ranks[0]
    assert (len(own.heard), own.tuned.tolist(), own.left_cents.tolist()) == (0, [4], [0.25])


def test_a_pipe_that_the_organ_has_not_is_refused() -> None:
    for pipe in (PipeRef("great.principal", 62), PipeRef("great.nothing", 1)):
        with pytest.raises(InputError, match="which this organ does not have"):
            figures(ORGAN, [PastVisit(DAY, {}, (read(18.0, 0.0, pipe=pipe),))])


def test_a_year_is_a_year() -> None:
    assert year_of(date(2032, 3, 20)) - year_of(DAY) == pytest.approx(1.0, abs=0.003)


def test_a_forecast_says_what_its_pipes_share() -> None:
    """By hand, a year after all was known: see `test_filter` for the sizes.

    A reading shares 0.5 of the organ and 0.5 of its division with others, or 15 where the air is
    not known; the division's flues 0.8 and 0.5 of lasting movement; reeds none of it.
    """
    air = {"great": 18.0}
    ahead = forecast(follow(ORGAN, []), DAY, air)
    place = ahead.index
    flue, reed, far = (
        place[PipeRef(rank, 1)] for rank in ("great.principal", "great.trumpet", "swell.viola")
    )
    assert ahead.reading_cents[flue] == pytest.approx(0.5**0.5)
    assert ahead.reading_cents[reed] == 0.0
    assert ahead.reading_cents[far] == pytest.approx((0.25 + 225.0) ** 0.5)
    assert_allclose(
        ahead.of_readings().sigmas[flue, 0] ** 2, ahead.parts.sigmas[flue, 0] ** 2 + 0.5
    )
    # of a slide's rank: 1 cent, the season's 0.5; the whole narrowed to 92 % by outcomes
    assert ahead.shared_cents[flue] == pytest.approx(0.92 * (1.0 + 0.25) ** 0.5, rel=1e-6)
    later = forecast(follow(ORGAN, [PastVisit(DAY, {}, ())]), DAY.replace(year=2032), air)
    assert later.division_cents[flue] == pytest.approx((0.8**2 + 0.5**2) ** 0.5, rel=0.01)
    assert ahead.division_cents[flue] < 0.01


def test_pipes_of_one_rank_that_are_built_otherwise_drift_otherwise() -> None:
    """A flute whose twelve lowest pipes are stopped and the others coned: 1.5 and 1.2 cents."""
    treble = '[{from = "C3", family = "open", tuned_by = "cone"}]'
    text = "\n".join(
        [
            'format = 1\nname = "One rank"\ntemperament = "equal"',
            "[pitch]\na4_hz = 440.0\nat_celsius = 18.0",
            '[[division]]\nid = "great"\nname = "Great"\nkeys = 61',
            a_rank("great.flute", "stopped", "stopper", parts=treble),
        ]
    )
    (rank,) = OrganDrift(read_organ(text), USUAL_HABITS).ranks
    stopped, cone = USUAL_HABITS[DriftKind.STOPPED], USUAL_HABITS[DriftKind.CONE]
    assert_allclose(rank.covariance[0, 0], stopped.own_cents**2)
    assert_allclose(rank.covariance[12, 12], cone.own_cents**2)
    assert rank.slip_cents[[11, 12]].tolist() == [stopped.slip_cents, cone.slip_cents]
