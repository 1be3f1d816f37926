"""Heat-ups found, their course, and forecasts that say how sure they are."""

from __future__ import annotations

import numpy as np
import pytest

from tests.condition.heating.churches import Winter, a_winter
from walkboard.condition.heating.between import air_at, divisions_apart
from walkboard.condition.heating.fit import fit_course
from walkboard.condition.heating.forecast import AirForecast, Heating
from walkboard.condition.heating.heat_ups import HeatUp, find_heat_ups


@pytest.fixture(scope="module")
def winter() -> Winter:
    return a_winter(2, heat_ups=8)


@pytest.fixture(scope="module")
def heat_ups(winter: Winter) -> tuple[HeatUp, ...]:
    outdoors = (winter.hours, winter.outdoors_celsius)
    return find_heat_ups(winter.hours, winter.organ_celsius, outdoors=outdoors)


def a_course(hours: float, from_celsius: float, end: float = 24.0) -> HeatUp:
    """One time constant of four hours: T = end − (end − T0)·e^(−h/4)."""
    grid = np.arange(0.0, hours + 0.01, 0.25)
    return HeatUp(0.0, grid, end - (end - from_celsius) * np.exp(-grid / 4.0))


def test_every_heat_up_is_found_where_the_heating_was_switched_on(
    winter: Winter, heat_ups: tuple[HeatUp, ...]
) -> None:
    assert len(heat_ups) == len(winter.switched_on_h)
    starts = [one.start_h for one in heat_ups]
    np.testing.assert_allclose(starts, winter.switched_on_h, atol=0.75)
    assert all(one.outdoors_celsius is not None for one in heat_ups)


def test_a_sunny_day_and_a_hole_in_the_log_are_not_heat_ups() -> None:
    hours = np.arange(0.0, 72.0, 1.0 / 6.0)
    sunny = 14.0 + 1.2 * np.sin(2.0 * np.pi * hours / 24.0)  # steepest: 0.31 K an hour
    assert find_heat_ups(hours, sunny) == ()
    keep = (hours < 30.0) | (hours > 40.0)
    jump = np.where(hours < 35.0, 10.0, 17.0)
    assert find_heat_ups(hours[keep], jump[keep]) == ()


def test_the_course_of_known_heat_ups_is_found() -> None:
    course = fit_course([a_course(h, t) for h, t in ((8.0, 8.0), (10.0, 11.0), (12.0, 9.0))])
    for hours, start in ((6.0, 10.0), (14.0, 7.0)):
        true = 24.0 - (24.0 - start) * np.exp(-hours / 4.0)
        assert float(course.air(hours, start, None)) == pytest.approx(true, abs=0.25)


def test_forecasts_of_a_simulated_church_hold_what_they_say(heat_ups: tuple[HeatUp, ...]) -> None:
    """One of the twelve of bench heating, where 80 % intervals hold for the whole set."""
    heating = Heating(heat_ups)
    errors = [score.error_celsius for score in heating.scores]
    assert np.median(np.abs(errors)) < 0.6
    assert np.mean([score.held for score in heating.scores]) >= 0.6
    # A score is from earlier heat-ups only: the first ones do not change when more come.
    assert Heating(heat_ups[:4]).scores == heating.scores[:3] or np.allclose(
        [s.error_celsius for s in Heating(heat_ups[:4]).scores], errors[:3]
    )


def test_an_unreachable_temperature_is_reported() -> None:
    heating = Heating([a_course(9.0, t) for t in (8.0, 9.0, 10.0, 8.5, 9.5, 8.0)])
    there = heating.at(10.0, 9.0, None)
    assert there.can_reach(22.0)
    assert not there.can_reach(29.0)
    assert there.low_celsius < there.celsius < there.high_celsius
    assert there.chance_below(there.low_celsius) == pytest.approx(0.1, abs=1e-6)
    assert there.chance_below(there.high_celsius) == pytest.approx(0.9, abs=1e-6)


def test_a_time_is_suggested_only_after_five_heat_ups_that_agreed() -> None:
    good = [a_course(9.0, t) for t in (8.0, 9.0, 10.0, 8.5, 9.5, 8.0)]
    early, settled = Heating(good[:4]), Heating(good)
    assert early.switch_on_hours(18.0, 9.0, None) is None
    hours = settled.switch_on_hours(18.0, 9.0, None)
    assert hours is not None
    assert settled.at(hours, 9.0, None).chance_below(18.0) <= 0.2
    assert settled.at(hours - 0.25, 9.0, None).chance_below(18.0) > 0.2
    odd = [*good, a_course(9.0, 9.0, end=18.0)]  # one burner had failed
    assert Heating(odd).switch_on_hours(18.0, 9.0, None) is None
    assert settled.switch_on_hours(27.0, 9.0, None) is None


def test_a_wide_spread_leaves_the_chance_open() -> None:
    unsure = AirForecast(18.0, 15.0, 21.0, 22.0, 2.0, 2.0)
    assert 0.3 < unsure.chance_below(17.0) < 0.4


def test_divisions_apart_in_kelvin_and_cents() -> None:
    """Outside check: c ∝ √T (ISO 9613-1:1993): 600·log2(T₂/T₁), 1.79 cents for 0.6 K at 17 °C,
    in dry air."""
    hours = np.arange(0.0, 100.0, 0.5)
    great = np.full(len(hours), 17.0)
    swell = np.where(hours < 50.0, 17.5, 17.7)
    found = divisions_apart(
        {"great": (hours, great), "swell": (hours, swell)}, [20.0, 70.0], "great"
    )
    (apart,) = found
    assert (apart.division, apart.against, apart.events) == ("swell", "great", 2)
    assert apart.celsius == pytest.approx(0.6)
    assert apart.cents == pytest.approx(600.0 * np.log2((290.15 + 0.6) / 290.15), abs=0.03)
    assert apart.spread_cents == pytest.approx(0.2 * 2.98 / np.sqrt(2.0), abs=0.03)


def test_a_log_that_does_not_cover_a_moment_says_nothing() -> None:
    hours = np.arange(0.0, 10.0, 0.5)
    assert air_at(hours, hours, 20.0) is None
    assert air_at(hours, hours, 4.2) == pytest.approx(4.2)


def lasting(hours: float, lean_celsius: float) -> HeatUp:
    """A heat-up that ends warmer or colder than the ones before it would have it."""
    return a_course(hours, 9.0, end=24.0 + lean_celsius)


def test_a_constant_bias_is_removed_from_the_next_forecast() -> None:
    """Each heat-up ends a kelvin colder than the one before: a course through all of them is too
    warm for the next one, every time."""
    winter = [lasting(9.0, -float(n)) for n in range(6)]
    heating = Heating(winter)
    leans = [score.course_error_celsius for score in heating.scores]
    assert min(leans) > 0.3
    left = [score.error_celsius for score in heating.scores]
    assert abs(left[-1]) < 0.7 * leans[-1]
    course = float(heating.course.air(9.0, 9.0, None))
    share = float(heating.course.share(9.0))
    # Six heat-ups give five errors; the mean is held near zero as if two without error came first.
    assert heating.at(9.0, 9.0, None).celsius == pytest.approx(course - share * sum(leans) / 7.0)
    assert heating.at(0.0, 9.0, None).celsius == pytest.approx(9.0, abs=0.05)


def test_a_first_forecast_is_given_less_surely_than_later_ones() -> None:
    same = [a_course(9.0, t) for t in (8.0, 9.0, 10.0, 8.5, 9.5, 8.0, 9.2, 8.8)]
    widths = [s.high_celsius - s.low_celsius for s in Heating(same).scores]
    assert widths == sorted(widths, reverse=True)
    assert widths[0] > 3.0 * widths[-1]
    rough = [lasting(9.0, lean) for lean in (0.0, 0.9, -0.8, 0.7, -0.9, 0.8)]
    spread = [s.high_celsius - s.low_celsius for s in Heating(rough).scores]
    assert spread[-1] > 2.0 * widths[4]


def a_log(*legs: tuple[float, float], start: float = 10.0) -> tuple[np.ndarray, np.ndarray]:
    """A log every ten minutes of straight legs: so many hours, at so many kelvin an hour."""
    corners = np.cumsum([[0.0, start], *[[h, h * rate] for h, rate in legs]], axis=0)
    hours = np.arange(0.0, corners[-1, 0], 1.0 / 6.0)
    return hours, np.interp(hours, corners[:, 0], corners[:, 1])


def test_a_heat_up_is_found_with_its_start_its_rise_and_the_air_outdoors() -> None:
    hours, celsius = a_log((12.0, 0.0), (6.0, 1.0), (10.0, -0.3))
    outdoors = np.linspace(0.0, 28.0, 29), np.linspace(0.0, 28.0, 29) / 2.0
    (one,) = find_heat_ups(hours, celsius, outdoors=outdoors)
    assert one.start_h == pytest.approx(12.0, abs=0.5)
    assert one.hours[0] == 0.0
    assert one.start_h + one.hours[-1] == pytest.approx(18.0, abs=0.5)
    assert one.from_celsius == pytest.approx(10.0, abs=0.2)
    assert one.celsius[-1] == pytest.approx(16.0, abs=0.2)
    assert one.outdoors_celsius == pytest.approx(7.5, abs=0.3)
    (bare,) = find_heat_ups(hours, celsius)
    assert bare.outdoors_celsius is None


@pytest.mark.parametrize(
    ("hours", "rate", "found"), [(12.0, 0.34, 0), (12.0, 0.46, 1), (3.0, 0.6, 0), (4.5, 0.6, 1)]
)
def test_air_that_rises_too_slowly_or_too_little_is_not_heated(hours, rate, found) -> None:
    """From 0.4 K an hour, and 2 K in all. Chosen: sun and people warm a church by 0.2 K an hour."""
    log = a_log((6.0, 0.0), (hours, rate), (6.0, 0.0))
    assert len(find_heat_ups(*log)) == found


@pytest.mark.parametrize(("pause", "found"), [(1.0, 1), (4.0, 2)])
def test_a_burner_that_cycles_is_one_heat_up_and_one_that_was_off_is_two(pause, found) -> None:
    log = a_log((6.0, 0.0), (4.0, 1.0), (pause, -0.2), (4.0, 1.0), (6.0, 0.0))
    assert len(find_heat_ups(*log)) == found


@pytest.mark.parametrize(("hole", "found"), [(1.6, 1), (2.3, 0)])
def test_a_heat_up_with_two_hours_missing_is_left_out(hole, found) -> None:
    hours, celsius = a_log((6.0, 0.0), (8.0, 1.0), (6.0, 0.0))
    keep = (hours < 9.0) | (hours >= 9.0 + hole)
    assert len(find_heat_ups(hours[keep], celsius[keep])) == found


def test_a_building_never_heated_is_assumed_usual() -> None:
    """Chosen: 1.2 and 10 hours, half and half, to 20 °C, or 15 K above the air outdoors."""
    hours = np.zeros(1)
    plain = fit_course([HeatUp(0.0, hours, np.full(1, 10.0))])
    assert (plain.fast_h, plain.slow_h) == pytest.approx((1.2, 10.0))
    assert (plain.fast_share, plain.end(None)) == pytest.approx((0.5, 20.0))
    beside = fit_course([HeatUp(0.0, hours, np.full(1, 10.0), outdoors_celsius=4.0)])
    assert beside.end(4.0) == pytest.approx(19.0)
    with pytest.raises(ValueError, match="no heat-up"):
        fit_course([])
