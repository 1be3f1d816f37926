"""The air that a recording of some stops is taken to have been made in."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.condition.organs import small_organ
from walkboard.book.records import Conditions, KeptVisit
from walkboard.work.visit import air_of_stops

ORGAN = small_organ()
NOON = datetime(2031, 3, 1, 12, 0, tzinfo=UTC)


def a_visit(*noted: dict[str, float]) -> KeptVisit:
    return KeptVisit(1, 1, "", 60.0, NOON, None, tuple(Conditions(air) for air in noted))


def test_stops_of_one_division_have_its_air():
    visit = a_visit({"great": 18.0, "swell": 22.0})
    assert air_of_stops(ORGAN, visit, ["great.octave"]) == 18.0
    assert air_of_stops(ORGAN, visit, ["swell.oboe", "swell.flute"]) == 22.0


def test_stops_of_two_divisions_have_the_mean_of_their_air():
    visit = a_visit({"great": 18.0, "swell": 22.0})
    assert air_of_stops(ORGAN, visit, ["great.octave", "swell.oboe"]) == pytest.approx(20.0)
    assert air_of_stops(ORGAN, visit, ["swell.oboe", "great.octave"]) == pytest.approx(20.0)


def test_what_was_noted_last_counts_and_what_nobody_noted_is_left_open():
    assert air_of_stops(ORGAN, a_visit({"great": 18.0}, {"great": 19.5}), ["great.octave"]) == 19.5
    assert air_of_stops(ORGAN, a_visit({"great": 18.0}), ["great.octave", "swell.oboe"]) == 18.0
    assert air_of_stops(ORGAN, a_visit({"great": 18.0}), ["swell.oboe"]) is None
