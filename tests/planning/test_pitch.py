"""The pitch divisions are tuned to: each its own, or coupled ones the same."""

from __future__ import annotations

import numpy as np
import pytest

from tests.condition.organs import readings, small_organ
from walkboard.condition.assess import assess
from walkboard.condition.shift import air_cents
from walkboard.errors import UnknownNameError
from walkboard.planning.pitch import division_pitches
from walkboard.planning.request import PlanRequest
from walkboard.planning.what_if import prepare

ORGAN = small_organ()
# two ranks of the Great heard at 0, one of the Swell 5 cents above
PIPES = readings(
    ORGAN,
    ["great.principal", "great.octave", "swell.viola"],
    lambda pipe: 5.0 if pipe.rank.startswith("swell") else 0.0,
    18.0,
)
CONDITION = assess(ORGAN, PIPES, {"great": 18.0, "swell": 20.0})


def sounds_at(coupled: frozenset[str]) -> dict[str, float]:
    """Where the flues of each division are left [cents at the air of the description]."""
    pitches = division_pitches(ORGAN, CONDITION, None, coupled)
    return {id_: p.above_cents + air_cents(18.0, p.air_celsius) for id_, p in pitches.items()}


def test_each_division_keeps_its_own_pitch_unless_they_are_coupled() -> None:
    own = sounds_at(frozenset())
    assert own["swell"] - own["great"] == pytest.approx(5.0, abs=0.2)
    together = sounds_at(frozenset({"great", "swell"}))
    # to the Great, of which more was heard: the fewest pipes have to be moved
    assert together["swell"] == pytest.approx(own["great"])
    assert together["great"] == own["great"]
    assert sounds_at(frozenset({"swell"})) == own


def test_coupled_divisions_are_tuned_to_one_pitch() -> None:
    prepared = prepare(ORGAN, CONDITION, PIPES)
    request = PlanRequest(120.0, coupled=frozenset({"great", "swell"}))
    apart, coupled = (
        [item for item in prepared.plan(asked).items if item.pipe.rank == "swell.viola"]
        for asked in (PlanRequest(120.0), request)
    )
    assert max(abs(item.cents) for item in apart) < 2.0  # each pipe where the others are
    assert len(coupled) > 40
    assert {item.move for item in coupled} == {"flatter"}
    assert np.mean([item.cents for item in coupled]) == pytest.approx(5.0, abs=0.5)


def test_a_coupled_division_is_one_of_the_organ() -> None:
    with pytest.raises(UnknownNameError, match="no division 'choir'"):
        PlanRequest(60.0, coupled=frozenset({"great", "choir"})).check(ORGAN)
