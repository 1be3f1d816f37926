"""Distances against the reference routine of geodesy, and typed times."""

from __future__ import annotations

import pytest

from walkboard.planning.rounds.travel import DETOUR, SPEED_KMH, Town, distance_km, one_way_hours

# Two points a quarter of a meridian apart: 10,007.5 km on the mean sphere (IUGG mean radius).
POLE, EQUATOR = Town("pole", 90.0, 0.0), Town("equator", 0.0, 0.0)


def test_a_quarter_of_a_meridian() -> None:
    assert distance_km(POLE, EQUATOR) == pytest.approx(10_007.557, abs=0.01)


def test_half_way_round_the_equator() -> None:
    assert distance_km(EQUATOR, Town("far side", 0.0, 180.0)) == pytest.approx(20_015.1, abs=0.1)


def test_a_degree_of_longitude_is_shorter_in_the_north() -> None:
    """At 60 degrees a degree of longitude is half a degree of latitude (spherical geometry)."""
    north = distance_km(Town("a", 60.0, 0.0), Town("b", 60.0, 1.0))
    assert north == pytest.approx(0.5 * 111.195, rel=1e-3)


def test_a_typed_time_counts_more_than_the_map_and_works_both_ways() -> None:
    a, b = Town("a", 50.0, 0.0), Town("b", 50.0, 1.0)
    typed = {frozenset(("a", "b")): 45.0}
    assert one_way_hours(a, b, typed) == one_way_hours(b, a, typed) == 0.75
    assert one_way_hours(a, b, {}) == pytest.approx(distance_km(a, b) * DETOUR / SPEED_KMH)
    assert one_way_hours(a, a, {}) == 0.0
