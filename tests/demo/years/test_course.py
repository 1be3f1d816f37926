"""The simulator of years: what it claims to do, it does."""

import numpy as np
import pytest
from bench._organs import invented_organ
from numpy.testing import assert_allclose
from numpy.typing import NDArray

from walkboard.demo.years.course import OrganYears, simulate_years
from walkboard.demo.years.habits import YearsHabits
from walkboard.demo.years.weather import quarterly
from walkboard.organ.model import Organ


@pytest.fixture(scope="module")
def organ():
    return invented_organ(800, 3)


def years_of(
    organ: Organ, habits: YearsHabits | None = None, visits: int = 9, seed: int = 1
) -> OrganYears:
    rng = np.random.default_rng(seed)
    weather = quarterly(organ, rng, visits)
    return simulate_years(organ, rng, weather, habits=habits or YearsHabits())


def is_reed(years: OrganYears) -> NDArray[np.bool_]:
    return np.array([not years.organ.rank(p.rank).family.is_flue for p in years.pipes])


def test_the_same_generator_gives_the_same_years(organ):
    one, other = years_of(organ), years_of(organ)
    for a, b in zip(one.visits, other.visits, strict=True):
        np.testing.assert_array_equal(a.true_cents, b.true_cents)
        np.testing.assert_array_equal(a.cents, b.cents)


def test_readings_scatter_about_the_truth_as_they_say_where_the_air_is_right(organ):
    habits = YearsHabits(slow_celsius=1e-9, place_celsius=1e-9)
    years = years_of(organ, habits)
    z = []
    for visit in years.visits:
        # the thermometer shows tenths: half a tenth is up to 0.15 cent, so only the pipes' own part
        off = (visit.cents - visit.true_cents)[visit.heard]
        groups = np.array([years.organ.rank(p.rank).division for p in years.pipes])[visit.heard]
        for division in np.unique(groups):
            own = off[groups == division]
            z.append((own - np.median(own)) / visit.sigma_cents[visit.heard][groups == division])
    assert_allclose(np.std(np.concatenate(z)), 1.0, atol=0.06)


def test_wander_grows_with_the_square_root_of_time(organ):
    """Two years against half a year: twice the spread (arithmetic of a random walk)."""
    habits = YearsHabits(
        slips_a_year={}, flue_rank_wander=1e-9, dust_cents_a_year=0.0, wood_cents=0.0,
        flue_follow_spread=0.0, uneven=0.0, cone_steadier=1.0,
    )  # fmt: skip
    rng = np.random.default_rng(4)
    weather = quarterly(organ, rng, 9)
    years = simulate_years(
        organ, rng, weather, habits=habits, tune=lambda at, _: np.full(len(at.cents), np.nan)
    )
    flue = ~is_reed(years)
    at = [visit.true_cents[flue] for visit in years.visits]
    assert_allclose(np.std(at[8] - at[0]) / np.std(at[2] - at[0]), 2.0, rtol=0.12)
    assert_allclose(np.std(at[4] - at[0]), habits.flue_wander, rtol=0.12)


def test_reeds_stay_where_they_are_while_flues_follow_the_air(organ):
    habits = YearsHabits(
        slips_a_year={}, flue_wander=1e-9, reed_wander=1e-9, flue_rank_wander=1e-9,
        reed_rank_wander=1e-9, dust_cents_a_year=0.0, wood_cents=0.0, flue_follow_spread=0.0,
        reed_follow=0.0, reed_follow_spread=0.0,
    )  # fmt: skip
    rng = np.random.default_rng(5)
    weather = quarterly(organ, rng, 3)
    years = simulate_years(
        organ, rng, weather, habits=habits, tune=lambda at, _: np.full(len(at.cents), np.nan)
    )
    reed = is_reed(years)
    first, third = years.visits[0], years.visits[2]
    warmer = third.weather.celsius["great"] - first.weather.celsius["great"]
    great = np.array([years.organ.rank(p.rank).division == "great" for p in years.pipes])
    moved = third.true_cents - first.true_cents
    assert_allclose(moved[~reed & great], 0.0, atol=1e-6)
    # ideal gas: 600 log2(T2/T1) cents, 2.96 a degree at 20 °C; moist air within a per cent of it
    kelvin = 273.15 + first.weather.celsius["great"]
    expected = -600.0 * np.log2((kelvin + warmer) / kelvin)
    assert_allclose(moved[reed & great], expected, rtol=0.03)


def test_a_tuned_pipe_is_left_near_where_it_was_meant_to(organ):
    rng = np.random.default_rng(6)
    weather = quarterly(organ, rng, 3)
    tune_all = lambda at, _: np.where(np.isnan(at.cents), np.nan, 1.5)  # noqa: E731
    years = simulate_years(organ, rng, weather, tune=tune_all)
    reed = is_reed(years)
    errors: dict[bool, list[float]] = {False: [], True: []}
    for visit in years.visits:
        frame = np.array(
            [
                2.96 * (visit.weather.celsius[d] - visit.shown_celsius[d])
                for d in (years.organ.rank(p.rank).division for p in years.pipes)
            ]
        )
        off = visit.left_cents + frame - visit.left_at_cents
        for kind, found in errors.items():
            found.extend(off[visit.tuned & (reed == kind)])
    assert_allclose(np.std(errors[False]), YearsHabits().flue_left_cents, rtol=0.1)
    assert_allclose(np.std(errors[True]), YearsHabits().reed_left_cents, rtol=0.2)
