"""The whole organ at a visit: readings against their forecasts, by hand."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.testing import assert_allclose

from tests.condition.organs import small_organ
from walkboard.condition.drift.filter import OrganDrift
from walkboard.condition.drift.history import RankVisit, VisitFigures
from walkboard.condition.drift.kinds import USUAL_HABITS

ORGAN = small_organ()
AT = {rank.id: n for n, rank in enumerate(ORGAN.ranks)}
PRINCIPAL, TRUMPET, VIOLA = AT["great.principal"], AT["great.trumpet"], AT["swell.viola"]
NOBODY = np.zeros(0, np.int64)
KNOWN: dict[str, float | None] = {"great": 0.0, "swell": 0.0}


def a_visit(
    heard: dict[int, np.ndarray],
    air: dict[str, float | None] | None = None,
    tuned: dict[int, list[int]] | None = None,
    year: float = 2031.0,
) -> VisitFigures:
    """Ranks read from their lowest pipe up, to 0.3 cent; tuned pipes left on their targets."""
    touched = tuned or {}
    ranks = {
        at: RankVisit(
            np.arange(len(heard.get(at, NOBODY))),
            np.asarray(heard.get(at, np.zeros(0)), np.float64),
            np.full(len(heard.get(at, NOBODY)), 0.3),
            np.array(touched.get(at, []), np.int64),
            np.zeros(len(touched.get(at, []))),
        )
        for at in sorted(heard.keys() | touched.keys())
    }
    return VisitFigures(year, KNOWN if air is None else air, ranks)


def test_a_first_reading_is_as_unsure_as_all_that_moves_it() -> None:
    """Own place, the rank's, the season; the moment's of organ and division; the reading's error.

    A slide: 1.5, 1 and 0.5 cents; 0.5 and 0.5, or 15 where nobody noted the air; 0.3.
    """
    unknown: dict[str, float | None] = {"great": None}
    for air, moment in ((KNOWN, 0.5**2 + 0.5**2), (unknown, 0.5**2 + 15.0**2)):
        found = OrganDrift(ORGAN, USUAL_HABITS).take_in(
            a_visit({PRINCIPAL: np.array([2.0, -1.0])}, air)
        )
        expected = 1.5**2 + 1.0**2 + 0.5**2 + moment + 0.3**2
        assert_allclose(found.sigma_cents**2, expected, rtol=1e-4)
        assert_allclose(found.cents, [2.0, -1.0])
        assert found.rank.tolist() == [PRINCIPAL] * 2
        assert found.pipe.tolist() == [0, 1]
        assert_allclose(found.slipped, -np.expm1(-0.08))


def test_what_all_flues_did_is_expected_of_flues_and_not_of_reeds() -> None:
    """The organ rose by 2 cents for good, the Swell by one more, known to 0.4 and 0.3."""
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    drift.common.mean[[0, 2]] = 2.0, 1.0
    drift.common.covariance[[0, 2], [0, 2]] = 0.4**2, 0.3**2
    plain = OrganDrift(ORGAN, USUAL_HABITS)
    when = a_visit({})
    for at, mean, variance in (
        (PRINCIPAL, 2.0, 0.4**2), (VIOLA, 3.0, 0.4**2 + 0.3**2), (TRUMPET, 0.0, 0.0)
    ):  # fmt: skip
        moved, still = drift.foresee(at, when), plain.foresee(at, when)
        assert_allclose(moved.cents - still.cents, mean, atol=1e-9)
        assert_allclose(moved.sigma_cents**2 - still.sigma_cents**2, variance, atol=1e-4)
        read = drift.read_now(at, when)
        assert_allclose(read.cents - still.cents, mean, atol=1e-9)
    assert drift.division_sigma_cents(VIOLA) == pytest.approx(0.5, rel=1e-3)
    heard = {at: np.array([5.0]) for at in (PRINCIPAL, VIOLA, TRUMPET)}
    found = drift.take_in(a_visit(heard))
    off = dict(zip(found.rank.tolist(), found.cents, strict=True))
    assert off == pytest.approx({PRINCIPAL: 3.0, VIOLA: 2.0, TRUMPET: 5.0})


def test_a_reed_that_was_moved_says_nothing_of_the_flues() -> None:
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    drift.take_in(a_visit({TRUMPET: np.full(20, 9.0)}))
    assert_allclose(drift.common.mean, 0.0, atol=1e-9)
    assert drift.last_said == {}
    drift.take_in(a_visit({PRINCIPAL: np.full(20, 9.0)}))
    assert drift.common.mean[3] > 0.05  # of this visit, for the whole organ


def test_a_tuned_pipe_is_left_as_its_kind_is() -> None:
    """A flue to half a cent and a reed to one, whatever it read before."""
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    heard = {at: np.full(20, 4.0) for at in (PRINCIPAL, TRUMPET)}
    drift.take_in(a_visit(heard, tuned={PRINCIPAL: [3], TRUMPET: [3]}))
    when = a_visit(heard)
    for at, left in ((PRINCIPAL, 0.5), (TRUMPET, 1.0)):
        seen = drift.read_now(at, when)
        assert seen.cents[3] == pytest.approx(0.0, abs=0.1)
        assert seen.sigma_cents[3] == pytest.approx(left, rel=0.1)
        assert seen.cents[4] == pytest.approx(4.0, abs=0.2)


def test_a_rank_heard_now_reads_as_it_was_heard_and_others_as_foreseen() -> None:
    """Within a visit a wrong thermometer is in the readings; it is not in the forecast."""
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    when = a_visit({PRINCIPAL: np.full(30, 8.0)}, {"great": None, "swell": None})
    drift.take_in(when)
    assert_allclose(drift.read_now(PRINCIPAL, when).cents[:30], 8.0, atol=0.2)
    assert np.all(np.abs(drift.foresee(PRINCIPAL, when).cents) < 2.0)
    assert np.all(drift.read_now(AT["great.octave"], when).cents > 6.0)


def test_time_goes_on_for_all_and_never_back() -> None:
    drift = OrganDrift(ORGAN, USUAL_HABITS)
    drift.take_in(a_visit({PRINCIPAL: np.zeros(61)}))
    before = drift.foresee(PRINCIPAL, a_visit({})).sigma_cents
    drift.pass_to(2030.0)
    assert_allclose(drift.foresee(PRINCIPAL, a_visit({})).sigma_cents, before)
    copy = drift.copy()
    copy.pass_to(2034.0)
    assert np.all(copy.foresee(PRINCIPAL, a_visit({})).sigma_cents > before + 0.5)
    assert copy.division_sigma_cents(PRINCIPAL) > drift.division_sigma_cents(PRINCIPAL)
    assert_allclose(drift.foresee(PRINCIPAL, a_visit({})).sigma_cents, before)
