"""Humidity against the building's own past (EN 15757:2010, from memory)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from walkboard.condition.humidity import humidity_band

HOURS = np.arange(0.0, 24.0 * 400.0 + 1.0)


def test_the_band_is_the_seventh_to_the_ninety_third_percentile_about_thirty_days() -> None:
    """A year's swing by season is followed; what swings within days makes the band.

    By a sine of two days and amplitude 10 %: its percentile p lies at 10 % · sin(π(p − 1/2)).
    """
    season = 0.55 + 0.08 * np.sin(2.0 * np.pi * HOURS / (24.0 * 365.0))
    band = humidity_band(HOURS, season + 0.10 * np.sin(2.0 * np.pi * HOURS / 48.0))
    assert band is not None
    assert band.days == pytest.approx(400.0)
    assert band.average == pytest.approx(season[-720:].mean(), abs=0.001)
    assert band.high - band.average == pytest.approx(0.10 * np.sin(0.43 * np.pi), abs=0.003)
    assert band.average - band.low == pytest.approx(0.10 * np.sin(0.43 * np.pi), abs=0.003)


def test_a_log_of_any_step_is_read_by_the_hour_and_its_last_reading_counts() -> None:
    rng = np.random.default_rng(4)
    rare = np.sort(rng.uniform(0.0, 24.0 * 60.0, 500))
    band = humidity_band(rare, np.append(np.full(499, 0.5), 0.31))
    assert band is not None
    assert band.last == 0.31
    assert band.is_outside
    assert band.average == pytest.approx(0.5, abs=0.005)


def test_less_than_thirty_days_make_no_band() -> None:
    for days, is_enough in ((29.9, False), (30.0, True)):
        hours = np.linspace(0.0, 24.0 * days, 800)
        assert (humidity_band(hours, np.full(800, 0.5)) is not None) is is_enough
    assert humidity_band(np.array([5.0]), np.array([0.5])) is None


@pytest.mark.parametrize(
    ("last", "is_outside"), [(0.39, True), (0.40, False), (0.6, False), (0.61, True)]
)
def test_the_edges_of_the_band_are_within_it(last: float, is_outside: bool) -> None:
    band = humidity_band(HOURS, np.full(len(HOURS), 0.5))
    assert band is not None
    assert replace(band, low=0.4, high=0.6, last=last).is_outside is is_outside
