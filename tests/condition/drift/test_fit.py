"""How a kind drifts, learned from histories whose truth is drawn here."""

from __future__ import annotations

from datetime import date, timedelta

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.stats import norm

from tests.condition.organs import small_organ
from walkboard.condition.drift.filter import OrganDrift, Surprises
from walkboard.condition.drift.fit import (
    _Course,
    _learn_common,
    _search,
    _surprise,
    _surprise_of,
    learn,
    recalibrate,
)
from walkboard.condition.drift.history import PastVisit, RankVisit, VisitFigures
from walkboard.condition.drift.kinds import (
    USUAL_COMMON,
    USUAL_HABITS,
    CommonHabits,
    DriftKind,
    Recalibration,
    as_vector,
)
from walkboard.condition.drift.rank import shared_terms
from walkboard.condition.state import PipeCents
from walkboard.organ.model import PipeRef

SLIDE = USUAL_HABITS[DriftKind.SLIDE]
NOBODY = np.zeros(0, np.int64)
DAY = date(2031, 3, 20)


def heard(cents: np.ndarray, error: float = 0.05, tuned: np.ndarray = NOBODY) -> RankVisit:
    """Every pipe of a rank read; some of them then tuned to their targets."""
    return RankVisit(
        np.arange(len(cents)), cents, np.full(len(cents), error), tuned, np.zeros(len(tuned))
    )


# The search


def test_the_search_finds_the_lowest_point_of_a_bowl() -> None:
    """Also one that is farther away than a single step may go."""
    usual = as_vector(USUAL_COMMON)
    lowest = usual + np.array([0.4, -0.6, 0.1, 1.7])

    def bowl(habits: CommonHabits) -> float:
        return 3.0 + float((((as_vector(habits) - lowest) / 0.3) ** 2).sum())

    assert_allclose(as_vector(_search(USUAL_COMMON, bowl)), lowest, atol=1e-6)


@pytest.mark.parametrize("downhill", [1.0, -1.0])
def test_on_a_slope_the_search_goes_down_step_by_step(downhill: float) -> None:
    """Half and a quarter of the logarithm: a size is never believed beyond what was tried."""

    def slope(habits: CommonHabits) -> float:
        return -downhill * float(as_vector(habits)[0])

    moved = as_vector(_search(USUAL_COMMON, slope)) - as_vector(USUAL_COMMON)
    assert_allclose(moved, [0.75 * downhill, 0.0, 0.0, 0.0], atol=1e-9)


# A rank's readings


def test_a_first_visit_is_as_surprising_as_its_mixture_says() -> None:
    """Written out with scipy.stats: never heard, so two years' slips; 4 % of the air's 10 cents.

    Its own 1.5 cents, the rank's 1, the season's 0.5, and what was known of the common part.
    """
    cents = np.array([0.0, 4.0, -18.0])
    common = (0.7, 0.3)
    visit = (2031.0, shared_terms(10.0, 2031.0), heard(cents, 0.2), common, common)
    sigma = np.sqrt(1.5**2 + 1.0**2 + 0.5**2 + (0.04 * 10.0) ** 2 + 0.3 + 0.2**2)
    slipped, near = -np.expm1(-0.04 * 2.0), 0.92 * sigma
    density = (1.0 - slipped) * 0.88 * norm.pdf(cents, 0.7, near)
    density += (1.0 - slipped) * 0.12 * norm.pdf(cents, 0.7, 2.0 * near)
    density += slipped * norm.pdf(cents, 0.7, np.hypot(near, 11.0))
    found = _surprise(_Course(3, True, (visit,)), SLIDE)
    assert found == pytest.approx(-np.log(density).sum(), rel=1e-9)


def course(years: np.ndarray, cents: np.ndarray) -> _Course:
    """A rank read at some dates, in its own air and with nothing in common with others."""
    known = (0.0, 1e-4)
    return _Course(
        cents.shape[1],
        True,
        tuple(
            (year, shared_terms(0.0, 0.0), heard(own), known, known)
            for year, own in zip(years, cents, strict=True)
        ),
    )


@pytest.mark.parametrize(
    ("size", "truth"), [("wander_cents", 2.5), ("wander_cents", 0.4), ("rank_cents", 2.5)]
)
def test_a_size_is_learned_from_what_wandered(size: str, truth: float) -> None:
    """Twelve years bring it most of the way from the usual size to the true one."""
    rng = np.random.default_rng(5)
    years = np.arange(12.0)
    wander = truth if size == "wander_cents" else 1.0
    shared = truth if size == "rank_cents" else 0.8
    cents = np.cumsum(rng.normal(0.0, wander, (12, 24)), axis=0)
    cents += np.cumsum(rng.normal(0.0, shared, (12, 1)), axis=0)
    found = _search(SLIDE, _surprise_of([course(years, cents)], DriftKind.SLIDE))
    learned, usual = getattr(found, size), getattr(SLIDE, size)
    assert abs(np.log(learned / truth)) < 0.55 * abs(np.log(learned / usual))


def test_time_between_visits_counts_as_it_passed() -> None:
    """The same change is a surprise after a month and none after four years."""
    cents = np.vstack([np.zeros(12), np.tile([2.5, -2.5], 6)])
    soon, late = (course(np.array([0.0, years]), cents) for years in (0.08, 4.0))
    assert _surprise(soon, SLIDE) > _surprise(late, SLIDE) + 10.0


def test_a_tuned_pipe_is_expected_where_it_was_left() -> None:
    before, after = np.full(6, 9.0), np.zeros(6)
    found = {}
    for tuned in (True, False):
        own = heard(before, tuned=np.arange(6) if tuned else NOBODY)
        visits = ((0.0, own), (0.5, heard(after)))
        made = tuple((y, shared_terms(0.0, 0.0), v, (0.0, 1e-4), (0.0, 1e-4)) for y, v in visits)
        found[tuned] = _surprise(_Course(6, True, made), SLIDE)
    assert found[True] < found[False] - 5.0


# All flues together


@pytest.mark.parametrize(("lasts", "size"), [(True, "organ_cents"), (False, "visit_cents")])
def test_what_all_flues_share_is_learned_as_lasting_or_of_the_visit(lasts: bool, size: str) -> None:
    """All flues of both divisions 4 cents up or down: for good, or for that visit only."""
    organ = small_organ()
    rng = np.random.default_rng(4)
    steps = rng.normal(0.0, 4.0, 12)
    together = np.cumsum(steps) if lasts else steps
    flues = [at for at, rank in enumerate(organ.ranks) if rank.family.is_flue][:6]
    place = {at: rng.normal(0.0, 1.0, 10) for at in flues}
    seen = [
        VisitFigures(
            float(year),
            {"great": 0.0, "swell": 0.0},
            {at: heard(place[at] + together[year] + rng.normal(0.0, 0.5, 10)) for at in flues},
        )
        for year in range(12)
    ]
    found = _learn_common(OrganDrift(organ, USUAL_HABITS), seen)
    usual = getattr(USUAL_COMMON, size)
    assert getattr(found, size) > 2.0 * usual
    others = {"organ_cents", "visit_cents"} - {size}
    assert all(getattr(found, other) < 1.5 * getattr(USUAL_COMMON, other) for other in others)


# The spread of forecasts


def outcomes(organ_drift: OrganDrift, count: int, truth: Recalibration) -> Surprises:
    """Outcomes of forecasts of 1 cent and one slip in ten, drawn from the truth."""
    rng = np.random.default_rng(8)
    rank = organ_drift.kinds.index(DriftKind.SLIDE)
    far = np.where(rng.random(count) < truth.far_share, truth.far, 1.0)
    sigma = truth.near * far
    slips = rng.random(count) < 0.1 * truth.slips
    sigma = np.where(slips, np.hypot(truth.near, SLIDE.slip_cents), sigma)
    return Surprises(
        np.full(count, rank),
        np.zeros(count, np.int64),
        rng.normal(0.0, sigma),
        np.ones(count),
        np.full(count, 0.1),
    )


def test_the_spread_is_corrected_to_what_came() -> None:
    drift = OrganDrift(small_organ(), USUAL_HABITS)
    truth = Recalibration(near=1.4, far=3.0, far_share=0.25, slips=2.0)
    found = recalibrate(drift, [outcomes(drift, 6000, truth)], DriftKind.SLIDE)
    assert found.near == pytest.approx(truth.near, rel=0.06)
    assert found.far == pytest.approx(truth.far, rel=0.12)
    assert found.far_share == pytest.approx(truth.far_share, rel=0.2)
    assert found.slips == pytest.approx(truth.slips, rel=0.12)
    assert recalibrate(drift, [outcomes(drift, 6000, truth)], DriftKind.CONE) == Recalibration()


def test_a_few_outcomes_change_the_spread_only_a_little() -> None:
    drift = OrganDrift(small_organ(), USUAL_HABITS)
    truth = Recalibration(near=3.0, far=2.0, far_share=0.12, slips=1.0)
    assert recalibrate(drift, [outcomes(drift, 59, truth)], DriftKind.SLIDE) == Recalibration()
    near = [
        recalibrate(drift, [outcomes(drift, count, truth)], DriftKind.SLIDE).near
        for count in (60, 1000)
    ]
    assert 0.92 < near[0] < near[1] - 0.3
    assert near[1] == pytest.approx(3.0, rel=0.1)


# A whole history


def test_only_kinds_that_were_heard_often_are_learned() -> None:
    """Five visits to slides that wander four cents a year; of cones and reeds a few readings."""
    organ = small_organ()
    rng = np.random.default_rng(3)
    principal = np.zeros(61)
    visits = []
    for n in range(5):
        principal = principal + rng.normal(0.0, 4.0, 61)
        ranks = {"great.principal": principal, "great.trumpet": np.zeros(8)}
        if n == 0:
            ranks["great.twelfth"] = np.zeros(59)
        read = tuple(
            PipeCents(PipeRef(rank, number), float(c), 0.1, None, 18.0)
            for rank, cents in ranks.items()
            for number, c in enumerate(cents, 1)
        )
        air = {"great": 18.0, "swell": 18.0}
        visits.append(PastVisit(DAY + n * timedelta(days=365), air, read))
    learned = learn(organ, visits)
    assert learned.habits[DriftKind.SLIDE].wander_cents > 1.5
    for kind in (DriftKind.CONE, DriftKind.REED, DriftKind.STOPPED):
        assert learned.habits[kind] == USUAL_HABITS[kind]
        assert learned.recalibration[kind] == Recalibration()
    assert learned.recalibration[DriftKind.SLIDE] != Recalibration()
    assert dict(learned.readings) == {
        DriftKind.SLIDE: 5 * 61, DriftKind.CONE: 59, DriftKind.REED: 40, DriftKind.STOPPED: 0
    }  # fmt: skip
