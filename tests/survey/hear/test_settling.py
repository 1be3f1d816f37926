"""A low pipe that seems to settle otherwise than its neighbours is less sure."""

from __future__ import annotations

import pytest

from walkboard.listening.readings import Measured
from walkboard.listening.types import SlowMovement
from walkboard.organ.model import PipeRef
from walkboard.survey.hear.heard_walk import Hold
from walkboard.survey.hear.settling import less_sure


def hold(number: int, rise_cents: float, hz: float = 50.0) -> Hold:
    reading = Measured(
        pipe=PipeRef("pedal.subbass16", number),
        start_s=0.0,
        end_s=2.0,
        hz=hz,
        sigma_cents=0.1,
        cents=0.0,
        slow=SlowMovement(rise_cents, 0.1),
    )
    return Hold(number, None, None, 3.0 * number, 3.0 * number + 2.5, (reading,))


def sigmas(holds: tuple[Hold, ...]) -> list[float]:
    return [r.sigma_cents for one in holds for r in one.readings if isinstance(r, Measured)]


def test_the_one_that_settles_unlike_its_neighbours_gets_a_larger_sigma() -> None:
    walk = [hold(n, 0.0 if n == 4 else 2.8 + 0.1 * (n % 2)) for n in range(1, 9)]
    found = sigmas(less_sure(walk))
    assert found[3] > 0.6, "it may be off by a third of what the room made of its rise"
    assert found[:3] + found[4:] == pytest.approx([0.1] * 7)


def test_few_neighbours_and_high_pipes_say_nothing() -> None:
    few = [hold(n, float(n == 2) * 3.0) for n in range(1, 5)]
    assert sigmas(less_sure(few)) == [0.1] * 4
    high = [hold(n, float(n == 4) * 3.0, hz=400.0) for n in range(1, 9)]
    assert sigmas(less_sure(high)) == [0.1] * 8
